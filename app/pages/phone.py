"""The page "Phone": the address for a phone as a code to scan, and what the phone will say."""

from __future__ import annotations

import os

from app.phone_address import code_as_picture
from app.settings import ADDRESS_VARIABLE, LAB_VARIABLE
from app.ui import blocks

TITLE = "Phone"
ORDER = 95


def page() -> None:
    """Draw the page."""
    blocks.title("Phone", "Open these pages on a phone, whose camera takes the photos.")
    address, fingerprint = os.environ.get(ADDRESS_VARIABLE), os.environ.get(LAB_VARIABLE)
    if not address and fingerprint:
        blocks.notice("No phone reaches these pages", [
            "They are encrypted, but answer on this machine only.",
            "Whoever looks after this machine starts Countersight with --lab --allow-remote and "
            "without --host, or with this machine's address in its network as --host."])
        return
    if not address:
        blocks.notice("No phone reaches these pages", [
            "They answer on this machine only, or without encryption, and a phone gives its "
            "camera and its sensors to an encrypted page only.",
            "In a skills lab, whoever looks after this machine starts Countersight with --lab "
            "--allow-remote; on a ward it needs a certificate that the phones trust.",
            "Without a phone, a photo can be chosen from a file."])
        return
    blocks.step("1. Point the phone's camera at this code")
    blocks.picture(code_as_picture(address), f"Code of the address {address}")
    blocks.say(f"Or type {address}. The phone has to be in the same network.")
    if not fingerprint:
        return
    blocks.step("2. The phone will warn you once")
    blocks.say("It says that the connection is not private, or that the certificate is not "
               "trusted. Why: the connection is encrypted, but this machine vouches only for "
               "itself, and no phone knows it.")
    blocks.say("In this skills lab that is to be expected. Look at the certificate's details; if "
               "its SHA-256 fingerprint is this one, go on:")
    blocks.small(fingerprint)
    blocks.say("Some phones go on and then show an empty page: they do not take such a "
               "certificate for the live connection. Use another phone, or a certificate that "
               "the phones trust.")
    blocks.notice("Only here", ["On a ward, a page with such a warning is not ours: turn back and "
                                "tell whoever looks after the machine."])

"""Where the record of a command is: ``--data``, else the setting, else the user's folder."""

from __future__ import annotations

from app.records import BedCode, Store
from vision.errors import InputError


def open_record(data: str | None, *, create: bool = False) -> Store:
    """Open the record; a missing one is an error, so that a mistyped folder is noticed."""
    from app.settings import record_place

    # What its anchor says is told by the check that each of these commands makes.
    return Store.open(record_place(data), create=create, anchored=create)


def known_bed(store: Store, text: str) -> BedCode:
    """The bed code, which must be on record; InputError names the ones there are."""
    bed = BedCode(text)
    beds = store.beds()
    if bed not in beds and not store.checked_read(bed).entries:  # an index may lack it
        there = ", ".join(beds) if beds else "none yet"
        raise InputError(f"Nothing is on record for bed '{bed}'; on record: {there}.")
    return bed

"""The last confirmed readings of a bed, each with its age."""

from __future__ import annotations

from app.records import Moment
from app.records.codes import normal_bed
from app.ui import blocks, guard, ledger
from vision.output.model import hm

SHOWN = 5


def age(then: Moment, now: Moment) -> str:
    """How long ago, in words: minutes, hours and minutes, days."""
    minutes = int((now.utc - then.utc).total_seconds() // 60)
    if minutes < 1:
        return "just now"
    if minutes < 60:
        return f"{minutes} min ago"
    hours, rest = divmod(minutes, 60)
    if hours < 24:
        return f"{hours} h {rest} min ago"
    days = hours // 24
    return f"{days} day{'s' if days > 1 else ''} ago"


def last_readings(bed: str) -> None:
    """Draw the last confirmed chamber readings of ``bed``; nothing while it is empty."""
    bed = normal_bed(bed)
    if not bed:
        return
    standing, problem = guard.in_words(
        lambda: ledger.open_store().current(bed, kind="volume-reading"))
    if standing is None:
        blocks.notice("The record cannot be read", [problem], stop=True)
        return
    blocks.step(f"Last confirmed readings of bed {bed}")
    if not standing:
        blocks.say("None yet.")
        return
    now, lines = Moment.now(), []
    entries = sorted((s for s in standing), key=lambda s: s.entry.happened.utc, reverse=True)
    for s in entries[:SHOWN]:
        e = s.entry
        corrected = ", corrected" if s.corrected else ""
        valid = ("" if e.attestations is None or e.attestations.all_true
                 else ", with a No among the four statements")
        lines.append(
            (f"{e.confirmed_value} {e.unit or ''}, {age(e.happened, now)}",
             f"{hm(e.happened.local, now.local)}, confirmed by {e.initials}{corrected}{valid}"))
    blocks.listing(lines)

"""Whether the last level check of a bed still holds, in one line."""

from __future__ import annotations

from datetime import UTC, datetime

from app.records.codes import normal_bed
from app.records.shift import LevelState, level_state
from app.ui import blocks, guard, ledger
from vision.output.limits import limits_from


def level_note(bed: str) -> None:
    """Draw the note for ``bed``; nothing while it is empty or no level check is on record.

    A level check is stale once the position changed after it (bed, head, transfer),
    or when it is older than the order allows.
    """
    bed = normal_bed(bed)
    if not bed:
        return
    found, problem = guard.in_words(lambda: last_level(bed))
    if found is None:
        blocks.notice("The record cannot be read", [problem], stop=True)
    elif found.last is not None and found.stale:
        blocks.notice("The level check is stale", [found.sentence], stop=True)
    elif found.hangs:
        blocks.notice("The drain does not hang level", [found.sentence], stop=True)
    elif found.last is not None:
        blocks.say(found.sentence)


def last_level(bed: str) -> LevelState:
    """How the level of ``bed`` stands now.  Raises a RecordError with a sentence."""
    with ledger.open_store().at_one_moment() as record:
        known = [s for kind in ("level-check", "position-changed")
                 if (s := record.last(bed, kind)) is not None]
        order = record.last(bed, "order")
    limits = limits_from(order.entry.payload.get("limits", {}) if order else {})
    known.sort(key=lambda s: s.entry.happened.utc)
    return level_state(known, datetime.now(UTC), due_minutes=limits.level_due_minutes,
                       order=order.entry if order else None)

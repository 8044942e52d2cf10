"""Does the chamber near the ward's fill limit before the next reading?"""

from __future__ import annotations

from dataclasses import dataclass

from app.records import Moment
from app.rounds import next_due
from app.ui.round.view import View
from vision.output import content_now, full_at
from vision.output.model import hm


@dataclass(frozen=True)
class FillState:
    """``near`` is True when the limit is reached, or may be before the next reading is due."""

    near: bool
    sentence: str


def fill_state(view: View) -> FillState:
    """From the record and the order's own limit; nothing is built in."""
    account, limit = view.account.account, view.account.limits.chamber_full_ml
    known = content_now(account)
    if known is None:
        return FillState(False, "How full the chamber is, is not on record: look at it.")
    at, content = known
    held = f"The chamber held {content:f} mL at {hm(at, view.now.local)}."
    if limit is None:
        return FillState(False, f"{held} The order names no fill limit: look at the chamber.")
    if content >= limit:
        return FillState(True, f"{held} Your fill limit is {limit:f} mL.")
    when = full_at(account, limit)
    due, _ = next_due(Moment.of(at), view.account.limits.reading_due_minutes)
    if when is not None and when[1] <= due.utc:
        return FillState(True, f"{held} At the present rate it may reach your fill limit of "
                               f"{limit:f} mL at {hm(when[1], view.now.local)}, before the next "
                               f"reading is due at {due.local:%H:%M}.")
    return FillState(False, f"{held} Your fill limit of {limit:f} mL is not near.")

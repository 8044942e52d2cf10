"""Does the chamber near the ward's fill limit before the next reading?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from app.records import Moment
from app.rounds import next_due
from app.ui.round.view import View
from vision.output import Account, content_now, full_at, make_account
from vision.output.model import hm, hm_ahead

#: Comes after everything on record.
_NEWEST = 2**62


@dataclass(frozen=True)
class FillState:
    """``near`` is True when the limit is reached, or may be before the next reading is due."""

    near: bool
    sentence: str


def fill_state(view: View, value: float | None = None) -> FillState:
    """From the record and the order's own limit; nothing is built in.

    ``value`` is what is about to be confirmed, in mL: the chamber then holds that now.
    """
    account, limit = view.account.account, view.account.limits.chamber_full_ml
    known = content_now(account)
    if value is not None:
        known = view.now.local, Decimal(f"{value:g}")
        account = _with_reading(account, *known)
    if known is None:
        return FillState(False, "How full the chamber is, is not on record: look at it.")
    at, content = known
    held = f"The chamber {'held' if value is None else 'holds'} {content:f} mL"
    held += f" at {hm(at, view.now.local)}." if value is None else "."
    if limit is None:
        return FillState(False, f"{held} The order names no fill limit: look at the chamber.")
    if content >= limit:
        return FillState(True, f"{held} Your fill limit is {limit:f} mL.")
    when = full_at(account, limit)
    due, _ = next_due(Moment.of(at), view.account.limits.reading_due_minutes,
                      view.account.due_from)
    if when is not None and when[1] <= due.utc:
        return FillState(True, f"{held} At the present rate it may reach your fill limit of "
                               f"{limit:f} mL at {hm(when[1], view.now.local)}, before the next "
                               f"reading is due at {hm_ahead(due.local, view.now.local)}.")
    return FillState(False, f"{held} Your fill limit of {limit:f} mL is not near.")


def _with_reading(account: Account, at: datetime, content: Decimal) -> Account:
    """The account as it will be with one more reading of the same chamber."""
    if not account.readings:
        return account
    new = replace(account.readings[-1], at=at, value_ml=content, number=_NEWEST, doubts=())
    return make_account([*account.readings, new], account.events)

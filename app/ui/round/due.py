"""Which checks are due in this hour, and until when the others hold.  Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from app.records import Entry, Moment
from app.records.shift import hangs_words
from app.rounds import CHECK_MINUTES
from app.setting_compare import compare_setting
from app.ui.round.view import View
from vision.output.model import hm, hm_ahead


@dataclass(frozen=True)
class Due:
    """Whether a check is due, and the line that says why, or until when the last one holds."""

    due: bool
    line: str


def level_due(view: View) -> Due:
    """The level: stale by the record's own rule, found off and not checked again, or old."""
    last = view.last_level
    if last is None or view.level.stale:
        return Due(True, view.level.sentence)
    hangs = hangs_words(last)
    if hangs:
        return Due(True, f"Level: at the last check, {_when(last, view)}, it {hangs}.")
    return _by_age("Level checked", last, view)


def setting_due(view: View) -> Due:
    """The setting: never checked, not since the order or the position changed, not as ordered."""
    last, order = view.last_setting, view.order
    if last is None or last.confirmed_value is None or last.unit is None:
        return Due(True, "No setting check is on record.")
    if order is not None and order.happened.utc > last.happened.utc:
        return Due(True, f"Setting: the order is newer than the last check, {_when(last, view)}.")
    if any(s.entry.event == "position-changed" and not s.withdrawn
           and s.entry.happened.utc >= last.happened.utc for s in view.account.standings):
        return Due(True, "Setting: the position changed after the last check, "
                         f"{_when(last, view)}.")
    if order is not None and order.confirmed_value is not None and order.unit is not None:
        if not compare_setting(float(last.confirmed_value), last.unit,
                               float(order.confirmed_value), order.unit).same:
            return Due(True, "Setting: not as ordered at the last check, "
                             f"{_when(last, view)}.")
        return _by_age("Setting as ordered, checked", last, view)
    return _by_age("Setting checked", last, view)


def _by_age(what: str, last: Entry, view: View) -> Due:
    named = view.account.limits.level_due_minutes
    until = Moment(last.happened.utc + timedelta(minutes=float(named or CHECK_MINUTES)),
                   last.happened.offset_min)
    if until.utc <= view.now.utc:
        return Due(True, f"{what} {_when(last, view)}: due again once a shift (common practice).")
    return Due(False, f"{what} {_when(last, view)}, valid until "
                      f"{hm_ahead(until.local, view.now.local)}")


def _when(entry: Entry, view: View) -> str:
    return f"{hm(entry.happened.local, view.now.local)} by {entry.initials}"

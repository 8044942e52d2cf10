"""Which checks are due in this hour, and until when the others hold.  Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from app.records import Entry
from app.records.shift import hangs_words
from app.rounds import CHECK_MINUTES
from app.setting_state import setting_state
from app.ui.round.view import View
from vision.output.model import hm, hm_ahead, later


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
    state = setting_state(view.account, view.now.local)
    if state.doubt or state.last is None:
        return Due(True, state.sentence)
    return _by_age("Setting as ordered, checked" if state.ordered else "Setting checked",
                   state.last, view)


def _by_age(what: str, last: Entry, view: View) -> Due:
    named = view.account.limits.level_due_minutes
    until = later(last.happened.local, timedelta(minutes=float(named or CHECK_MINUTES)))
    if until <= view.now.local:
        return Due(True, f"{what} {_when(last, view)}: due again once a shift (common practice).")
    return Due(False, f"{what} {_when(last, view)}, valid until "
                      f"{hm_ahead(until, view.now.local)}")


def _when(entry: Entry, view: View) -> str:
    return f"{hm(entry.happened.local, view.now.local)} by {entry.initials}"

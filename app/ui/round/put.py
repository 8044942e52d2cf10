"""The last press of an hour: reading, checks and emptying go on record together, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeVar

import streamlit as st

from app.entering import Proposed
from app.records import BedCode, ClockDoubtError, Entry, Initials, Moment, SkipDraft
from app.records.errors import ConfirmError
from app.rounds import LEFT_OUT
from app.ui import doubtful, guard, kept, signed_in
from app.ui.bed import bed_doubt
from app.ui.chamber.confirm import proposed_now, reading_problems
from app.ui.chamber.value import value_now
from app.ui.round.chip import initials_now
from app.ui.round.drain import drain_proposed
from app.ui.round.emptied import emptied_proposed
from app.ui.round.fluid import fluid_proposed
from app.ui.round.level import level_proposed
from app.ui.round.overview import order_points
from app.ui.round.setting import setting_proposed
from app.ui.round.state import RoundState
from app.ui.round.view import View, look_up
from app.ui.round.way import AT, DONE, bring_back, close
from app.ui.scale_picker import keep_own
from vision.output.model import hm

T = TypeVar("T")
#: What is looked at before the photo, in the order in which it goes on record.
BEFORE: tuple[Callable[[RoundState, View], list[Proposed]], ...] = (
    level_proposed, setting_proposed, drain_proposed, fluid_proposed)


def put_on_record(state: RoundState, form: str) -> None:
    """The confirming act, run in the button's callback; a second tap meets another form."""
    if form != state.key:
        if state.done:  # a tab beside this one put the hour on record: show what is there
            st.query_params[AT] = DONE
        return
    bring_back(state)
    view = look_up(state.bed)
    problems = reading_problems(state.chamber)

    def made(make: Callable[[], list[Proposed]]) -> list[Proposed]:
        found, problem = guard.in_words(make)
        if problem:
            problems.append(problem)
        return found or []

    before = [p for row in BEFORE for p in made(partial(row, state, view))]
    value = value_now(state.chamber)
    after = made(partial(emptied_proposed, state, view, value))
    problems += [p for _, p in (_initials(state), _bed(state)) if p]
    problems = _meanwhile(state, view) + problems  # first, since the rest may come from it
    if not problems:
        # In the order of the work: what was looked at first, the reading, the emptying.
        reading, problem = guard.in_words(lambda: proposed_now(state.chamber, state.bed))
        problems += [problem] if problem else []
        if reading is not None:
            _put(state, value, [*before, reading, *after], compare=not state.chamber.demo)
            return
    state.missing = tuple(problems)


def no_reading(state: RoundState, form: str, why: str) -> None:
    """This hour without a reading: on record as skipped, with the reason."""
    if form != state.key:
        return
    skip = Proposed(SkipDraft(LEFT_OUT["read"], st.session_state.get(why) or ""),
                    {"key": f"{state.form}-read"})
    state.missing = tuple(filter(None, [_bed(state)[1]]))
    if not state.missing:
        _put(state, "", [skip])


def _put(state: RoundState, value: str, proposed: Sequence[Proposed], *, compare: bool = True
         ) -> None:
    by, problem = _initials(state)
    if by is None:
        state.missing = (problem,)
        return
    initials = by
    # Checks are of the moment at which the photo came in, where nothing else is said.
    at = state.chamber.taken_in or Moment.now()
    if state.level_found:
        at = Moment.now()

    def act() -> tuple[Entry, ...]:
        try:
            return doubtful.put_all(
                state.key, value,
                [Proposed(p.draft, {"happened_at": at, **p.more}, p.picture) for p in proposed],
                compare=compare, by=initials, bed=BedCode(state.bed),
                identity=signed_in.identity(),
                clock_checked=bool(st.session_state.get(f"clock-{state.key}")))
        except ClockDoubtError:
            state.clock_doubt = True
            raise

    entries, problem = guard.in_words(act)
    if entries is None:
        state.missing = (problem,)
        return
    kept.remember_initials(initials)
    keep_own(state.bed, state.chamber.scale)
    state.finish(entries)
    close(state)
    st.query_params[AT] = DONE


def _initials(state: RoundState) -> tuple[Initials | None, str]:
    return guard.in_words(lambda: Initials(initials_now(state)))


def _bed(state: RoundState) -> tuple[None, str]:
    def act() -> None:
        doubt = bed_doubt(BedCode(state.bed))
        if doubt:
            raise ConfirmError(doubt)

    return None, guard.in_words(act)[1]


def _meanwhile(state: RoundState, view: View) -> list[str]:
    """A colleague's reading, or an order, that came on record since this hour began is asked about
    once."""
    order = view.order
    if order is not None and state.after is not None and order.number > max(
            state.after, state.order_accepted):
        state.order_accepted = order.number
        return [f"{order.initials} confirmed an order at "
                f"{hm(order.happened.local, view.now.local)}, since you began: "
                f"{'; '.join(order_points(order))}. Look at level, setting and drain again, then "
                "press again."]
    new = [s.original for s in view.account.standings if s.entry.subject == "volume-reading"
           and not s.withdrawn and s.original.number > (state.after or 0)]
    if state.after is None or not new or state.meanwhile_accepted == new[-1].number:
        return []
    state.meanwhile_accepted = new[-1].number
    return [f"{e.initials} put {e.confirmed_value} {e.unit} on record at "
            f"{hm(e.happened.local, view.now.local)}, since you began. Press again to put "
            "yours on record as well." for e in new[-1:]]

"""The page "Round": the whole hourly work at one bed, one step at a time."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import streamlit as st

from app.records import BedCode
from app.rounds import STEPS, StepName
from app.ui import blocks, guard, theme
from app.ui.bed import bed_help
from app.ui.round import act, overview
from app.ui.round.collect import collect_step
from app.ui.round.drain import drain_step
from app.ui.round.empty import empty_step
from app.ui.round.level import level_step
from app.ui.round.output import output_block, output_step
from app.ui.round.read import read_step
from app.ui.round.setting import setting_step
from app.ui.round.start import choose_bed
from app.ui.round.state import RoundState
from app.ui.round.view import View, look_up

TITLE = "Round"
ORDER = 15
_STATE = "round_state"
_HEADS: dict[StepName, str] = {
    "level": "Level check", "setting": "Setting against the order", "drain": "Drain state",
    "collect": "Collect", "read": "Read the chamber", "output": "Output and totals",
    "empty": "Empty the chamber",
}
_DRAW: dict[StepName, Callable[[RoundState, View], None]] = {
    "level": level_step, "setting": setting_step, "drain": drain_step, "collect": collect_step,
    "read": read_step, "output": output_step, "empty": empty_step,
}


def page() -> None:
    """Draw the page for where the round stands."""
    state: RoundState = st.session_state.setdefault(_STATE, RoundState())
    bed = _bed()
    state.at_bed(bed)
    if state.chamber.recorded is not None:  # a reading went on record in the last run
        state.go_on(f"{state.chamber.recorded.sentence} Entry {state.chamber.recorded.number}.")
        state.chamber.recorded = None
    if not bed:
        theme.start_at_top("round-no-bed")
        blocks.title("Round", "The hourly work at one bed, one step at a time.")
        choose_bed(state)
        blocks.caution_box()
        return
    view, problem = guard.in_words(lambda: look_up(bed))
    if view is None:
        blocks.title(f"Round at bed {bed}")
        blocks.notice("The record cannot be read", [problem], stop=True)
        return
    theme.start_at_top(f"round-{bed}-{view.step}-{state.turn}-{state.chamber.key}"
                       f"-{state.chamber.may_read}-{state.chamber.answers}")
    blocks.title(f"Round at bed {bed}")
    if state.said:
        blocks.notice(state.said)
    if view.round_problem:
        _damaged(state, view)
    elif view.round is None:
        _before(state, view)
    elif view.step is None:
        _end(state, view)
    else:
        _step(state, view, view.step)
    blocks.caution_box()


def _bed() -> str:
    """The bed of the address, so that a reload finds it; "" when there is none."""
    given = st.query_params.get("bed", "")
    code, _ = guard.in_words(lambda: BedCode(given)) if given else (None, "")
    return code or ""


def _before(state: RoundState, view: View) -> None:
    blocks.status_line(overview.due_line(view))
    overview.last_known(view)
    overview.order_lines(view)
    bed_help("before", view.bed, partial(st.query_params.__setitem__, "bed"), offer=False)
    act.initials_field(state)
    act.say_what_is_missing(state)
    st.button("Begin the round", key=f"round-begin-{state.turn}", type="primary", width="stretch",
              on_click=act.begin, args=(state, view.bed))
    _other_bed()


def _step(state: RoundState, view: View, step: StepName) -> None:
    number = list(STEPS).index(step) + 1
    blocks.step(f"Step {number} of {len(STEPS)}: {_HEADS[step]}")
    left, right = st.columns([3, 2], gap="medium")
    with left:
        _DRAW[step](state, view)
        act.skip_block(state, view)
    with right:
        with st.expander("The round so far", expanded=False):
            overview.steps_so_far(view)
            assert view.round is not None
            blocks.say(f"Begun at {view.round.began.local:%H:%M}.")
        with st.expander("Last known, and the order"):
            overview.last_known(view)
            overview.order_lines(view)
        _other_bed()


def _end(state: RoundState, view: View) -> None:
    blocks.step("Done")
    blocks.status_line(overview.due_line(view))
    overview.steps_so_far(view)
    output_block(view)
    act.say_what_is_missing(state)
    st.button("Finish the round", key=f"round-finish-{state.turn}", type="primary",
              width="stretch", on_click=act.close,
              args=(state, view.bed, "The round is finished."))
    _other_bed()


def _damaged(state: RoundState, view: View) -> None:
    blocks.notice("The round cannot go on", [view.round_problem], stop=True)
    act.say_what_is_missing(state)
    st.button("Put the damaged state aside", key=f"round-aside-{state.turn}", width="stretch",
              on_click=act.close, args=(state, view.bed))
    _other_bed()


def _other_bed() -> None:
    st.button("Go to another bed", key="round-other", width="stretch",
              on_click=lambda: st.query_params.clear())

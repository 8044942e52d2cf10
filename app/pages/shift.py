"""The page "Shift": what drained at a bed, what was done, and the hand-over."""

from __future__ import annotations

import streamlit as st

from app.records.codes import bed_words
from app.ui import blocks, guard
from app.ui.shift.choose import choose
from app.ui.shift.corrections import corrections_block
from app.ui.shift.events import events_block
from app.ui.shift.figures import figures_block, table_block
from app.ui.shift.look import Look, look
from app.ui.shift.papers import papers_block
from app.ui.shift.standing import standing_block
from app.ui.shift.state import ShiftState, since
from app.ui.shift.timeline import timeline_block
from app.ui.shift.write import now_here

TITLE = "Shift"
ORDER = 50
_STATE = "shift_state"


def page() -> None:
    """Draw the page for the bed chosen."""
    state: ShiftState = st.session_state.setdefault(_STATE, ShiftState())
    blocks.title("Shift", "What drained at one bed, from confirmed entries only.")
    choice = choose(state)
    if choice.bed and choice.plan is not None:
        now, plan = now_here(), choice.plan
        seen, problem = guard.in_words(
            lambda: look(choice.bed, since(choice.period, now), now, plan))
        if seen is None:
            blocks.notice("The record cannot be read", [problem], stop=True)
        else:
            _of_the_bed(state, seen)
        papers_block(state, choice.bed, choice.period, plan)
    elif not choice.bed:
        blocks.status_line("Next: the bed code.")
    blocks.caution_box("From confirmed entries only. A calculation, not advice: the written order "
                       "and the people who may act on it decide.")


def _of_the_bed(state: ShiftState, seen: Look) -> None:
    if state.recorded:
        blocks.cards(blocks.card("On record", "Confirmed", "", [state.recorded], "confirmed"))
    left, right = st.columns([3, 2], gap="medium")
    with left:
        blocks.step(f"Bed {bed_words(seen.bed.bed)}")
        standing_block(seen)
    with right:
        events_block(state, seen)
        corrections_block(state, seen)
    figures_block(seen)
    table_block(seen)
    timeline_block(seen)

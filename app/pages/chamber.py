"""The page "Chamber": a photo of the chamber becomes a confirmed reading."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks, theme
from app.ui.chamber import result, several, steps
from app.ui.chamber.confirm import confirm_step
from app.ui.chamber.state import ChamberState
from app.ui.level_note import level_note
from app.ui.recent import last_readings

TITLE = "Chamber"
ORDER = 10
_STATE = "chamber_state"


def page() -> None:
    """Draw the page for where the person stands."""
    state: ChamberState = st.session_state.setdefault(_STATE, ChamberState())
    theme.start_at_top(f"{state.key}-{state.may_read}-{state.answers}")
    blocks.title("Chamber", "A photo of the drip chamber, read twice: by you, then by the tool.")
    if state.recorded is not None:
        _recorded(state)
    blocks.status_line(_standing(state))
    bed = state.recorded.bed if state.recorded else ""
    steps.photo_step(state)
    if state.photo is not None:
        bed = _photo_in_hand(state)
    level_note(bed)
    last_readings(bed)
    blocks.caution_box()


def _photo_in_hand(state: ChamberState) -> str:
    """Everything that hangs on the photo; returns the bed code typed so far."""
    if not state.may_read:
        left, right = st.columns(2, gap="medium")
        with left:
            steps.plain_picture(state)
        with right:
            steps.scale_step(state)
            steps.own_step(state)
            steps.let_go(state)
        return ""
    result.ask_the_tool(state)
    read = state.reading is not None and state.reading.value is not None
    result.value_cards(state)
    result.refusal(state)
    several.strip(state)
    several.one_more(state, first=True)
    left, right = st.columns(2, gap="medium")
    with left:
        result.question(state)
        result.pictures(state)
        several.one_more(state, first=False)
        result.explanation(state)
        steps.other_scale(state)
        if not read:
            steps.let_go(state)
    with right:
        bed = confirm_step(state)
        if read:
            steps.let_go(state)  # last, so that no thumb meets it on the way to the button
    return bed


def _standing(state: ChamberState) -> str:
    """Where the person stands, in one sentence."""
    if state.photo is None:
        return "Next: take or choose a photo."
    if state.scale is None:
        return "Photo in hand. Next: choose the scale."
    if not state.committed:
        return "Photo in hand. Next: your own reading. The tool has not been asked."
    return "Not on record: nothing counts until you confirm it below."


def _recorded(state: ChamberState) -> None:
    done = state.recorded
    assert done is not None
    head = "On record (DEMO)" if done.demo else "On record"
    blocks.cards(blocks.card(head, f"Entry {done.number}", "", [
        done.sentence, "The photo has been dropped."], "confirmed"))

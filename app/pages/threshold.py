"""The page "Threshold": the pressure at which the drain opens, and the setting check."""

from __future__ import annotations

import streamlit as st

from app.records.codes import normal_bed
from app.ui import blocks, guard, kept
from app.ui.bed import bed_of_address, bed_to_address
from app.ui.threshold import fields, outcome
from app.ui.threshold.confirm import setting_check
from app.ui.threshold.panel_photo import PanelPhoto, panel_photo
from app.ui.threshold.state import Inputs, ThresholdState, Typed
from app.ui.threshold.what_if import what_if
from app.ui.unit_box import unit_box

TITLE = "Threshold"
ORDER = 30
_STATE, _PANEL = "threshold_state", "threshold_panel"


def page() -> None:
    """Draw the page for what has been typed so far."""
    state = _state()
    panel: PanelPhoto = st.session_state.setdefault(_PANEL, PanelPhoto())
    blocks.title("Threshold", "The pressure at which the drain opens, when the system hangs off "
                              "level. In both units.")
    if state.recorded:
        blocks.cards(blocks.card("On record", "Setting check", "", [state.recorded], "confirmed"))
    left, right = st.columns(2, gap="medium")
    with left:
        inputs, known = fields.all_fields(state)
        with st.expander("Compare the setting with a photo of the panel"):
            panel_photo(panel, inputs)
    bed_to_address(inputs.bed)
    kept.of_browser("threshold", Typed).remember(state)
    with right:
        outcome.order_in_both_units(inputs)
        question = unit_box(f"th-{state.generation}", outcome.unit_questions(inputs, known),
                            tick=inputs.setting_complete)
        result, problem = guard.in_words(lambda: outcome.computed(inputs))
        if problem:
            blocks.notice("These numbers cannot be used", [problem], stop=True)
        elif result is not None:
            outcome.threshold_result(inputs, result)
            with st.expander("What if?"):
                what_if(inputs, result)
        else:
            blocks.status_line(_next(inputs))
        setting_check(state, inputs, panel, question)
    outcome.cautions()
    blocks.caution_box()


def _state() -> ThresholdState:
    """What this session has typed, or its browser before a reload; for the bed of the address
    where the page is opened for another one."""
    if _STATE not in st.session_state:
        st.session_state[_STATE] = kept.of_browser("threshold", Typed).state()
    state: ThresholdState = st.session_state[_STATE]
    asked = bed_of_address()
    if asked and "th-bed" not in st.session_state and \
            asked != normal_bed(state.kept.get("th-bed") or ""):
        state.begin_at(asked)
    return state


def _next(inputs: Inputs) -> str:
    """What is still missing, in one sentence."""
    if not inputs.order_complete:
        return "Next: the ordered threshold and its unit, as they stand on the order."
    if not inputs.setting_complete:
        return "Next: what the panel is set to, and the unit printed on it."
    return "Next: how the zero reference hangs, seen from the landmark."

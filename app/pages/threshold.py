"""The page "Threshold": the pressure at which the drain opens, and the setting check."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks, guard
from app.ui.threshold import fields, outcome
from app.ui.threshold.confirm import setting_check
from app.ui.threshold.panel_photo import PanelPhoto, panel_photo
from app.ui.threshold.state import Inputs, ThresholdState
from app.ui.threshold.what_if import what_if
from app.ui.unit_box import unit_box

TITLE = "Threshold"
ORDER = 30
_STATE, _PANEL = "threshold_state", "threshold_panel"


def page() -> None:
    """Draw the page for what has been typed so far."""
    state: ThresholdState = st.session_state.setdefault(_STATE, ThresholdState())
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


def _next(inputs: Inputs) -> str:
    """What is still missing, in one sentence."""
    if not inputs.order_complete:
        return "Next: the ordered threshold and its unit, as they stand on the order."
    if not inputs.setting_complete:
        return "Next: what the panel is set to, and the unit printed on it."
    return "Next: how the zero reference hangs, seen from the landmark."

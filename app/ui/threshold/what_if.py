"""Sliders to see what a change would do.  Nothing of it can be recorded."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks
from app.ui.drawing import show_drawing
from app.ui.text import as_label, visible
from app.ui.threshold.state import Inputs
from vision.drawing.bedside import Bedside, bedside_drawing, hanging_words
from vision.hydrostatics import (
    CM_H2O_CODE,
    Threshold,
    both_units,
    effective_threshold,
    head_of_bed_change,
)

_SPAN_CM = 15.0


def what_if(inputs: Inputs, result: Threshold) -> None:
    """Draw the sliders and the picture that follows from them."""
    blocks.say("For teaching and for looking ahead: nothing here is put on record, and nothing "
               "here tells anybody to change something.")
    # A new starting point makes new sliders.
    start = f"{result.setting_cm_h2o:.2f}:{result.offset_cm:.2f}"
    setting = _slider("Chamber on the panel, cmH2O", result.setting_cm_h2o, f"wi-set-{start}")
    offset = _slider("Height offset of the system, cm (minus = too low)", result.offset_cm,
                     f"wi-off-{start}")
    blocks.say("Raise or lower the head of the bed while the system stays where it hangs:")
    now = st.slider("Head of the bed now, degrees", 0, 75, 30, key="wi-now")
    then = st.slider("Head of the bed afterwards, degrees", 0, 75, 30, key="wi-then")
    along = st.slider("Landmark to the bed's hinge along the mattress, cm", 30, 90, 60,
                      key="wi-along")
    above = st.slider("Landmark above the mattress, cm", 0, 25, 10, key="wi-above")
    moved = head_of_bed_change(now, then, along, above)
    changed = effective_threshold(setting, CM_H2O_CODE, offset - moved.landmark_rise_cm)
    blocks.say(f"Then the drain would open at {both_units(changed.value_cm_h2o)}. {changed.effect}")
    if now != then:
        blocks.say(moved.sentence)
    drawn = bedside_drawing(Bedside(
        offset_cm=changed.offset_cm, setting_cm=changed.setting_cm_h2o,
        head=f"What if (not on record): {hanging_words(changed.offset_cm)}",
        captions=(f"would open at {both_units(changed.value_cm_h2o)}",
                  f"head of the bed at {then} degrees"),
        title=f"What if, side view to scale, not on record. {changed.sentence}",
        landmark=visible(inputs.landmark) or "landmark", what_if=True,
        head_angle_deg=float(then), along_cm=along, above_cm=above))
    show_drawing(drawn)


def _slider(label: str, value: float, key: str) -> float:
    """Millimetres, 15 cm to either side of where things stand."""
    middle = round(value, 1)
    return st.slider(as_label(label), middle - _SPAN_CM, middle + _SPAN_CM, middle, step=0.1,
                     key=key, format="%.1f")

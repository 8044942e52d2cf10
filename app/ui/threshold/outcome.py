"""What the page says: both units of everything, questions, the effective threshold."""

from __future__ import annotations

import streamlit as st

from app.orders import UnitQuestion, unit_question
from app.setting_compare import compare_setting
from app.ui import blocks
from app.ui.drawing import show_drawing
from app.ui.text import visible
from app.ui.threshold.last import OnRecord
from app.ui.threshold.state import Inputs
from vision.drawing.bedside import Bedside, bedside_drawing, hanging_words
from vision.hydrostatics import (
    CAUTIONS,
    CM_H2O_CODE,
    MM_HG_CODE,
    WORDS,
    Threshold,
    both_units,
    convert,
    effective_threshold,
    setting_for_threshold,
)
from vision.hydrostatics.units import number_text


def order_in_both_units(inputs: Inputs) -> None:
    """The ordered value in both units."""
    if inputs.ordered is None or inputs.ordered_unit is None:
        if inputs.ordered is not None:
            blocks.notice("Which unit does the order name?",
                          ["10 mmHg is 13.6 cmH2O: the unit is never guessed."])
        return
    cards = [_pressure_card("The order says", inputs.ordered, inputs.ordered_unit)]
    if inputs.setting is not None and inputs.setting_unit is not None:
        cards.append(_pressure_card("The panel says", inputs.setting, inputs.setting_unit))
    blocks.cards(*cards)


def unit_questions(inputs: Inputs, known: OnRecord) -> tuple[str, ...]:
    """What is to be asked about numbers and units: the order typed against the one on record,
    and the panel against both.  Where panel and order agree, nothing is asked of the panel."""
    recorded = known.order
    found: list[UnitQuestion | None] = []
    if inputs.ordered is not None and inputs.ordered_unit is not None:
        found.append(unit_question(
            inputs.ordered, inputs.ordered_unit,
            other_value=recorded.threshold if recorded else None,
            other_unit=recorded.unit if recorded else None, other_name="order on record"))
        found.append(_panel_question(inputs, inputs.ordered, inputs.ordered_unit, "order"))
    if recorded is not None and (recorded.threshold, recorded.unit) != (
            inputs.ordered, inputs.ordered_unit):
        found.append(_panel_question(inputs, recorded.threshold, recorded.unit,
                                     "order on record"))
    return tuple(dict.fromkeys(q.sentence for q in found if q is not None))


def _panel_question(inputs: Inputs, ordered: float, unit: str, name: str) -> UnitQuestion | None:
    if inputs.setting is None or inputs.setting_unit is None \
            or compare_setting(inputs.setting, inputs.setting_unit, ordered, unit).same:
        return None
    return unit_question(inputs.setting, inputs.setting_unit, other_value=ordered,
                         other_unit=unit, other_name=name)


def _pressure_card(who: str, value: float, unit: str) -> str:
    digits = 0 if value == round(value) else 1
    return blocks.card(who, number_text(value, digits), WORDS[unit],
                       [f"= {_other_unit(convert(value, unit, CM_H2O_CODE), unit)}"])


def _other_unit(value_cm_h2o: float, unit: str) -> str:
    """A pressure in the unit that was not used, with its name."""
    other = MM_HG_CODE if unit == CM_H2O_CODE else CM_H2O_CODE
    return f"{number_text(convert(value_cm_h2o, CM_H2O_CODE, other))} {WORDS[other]}"


def computed(inputs: Inputs) -> Threshold | None:
    """The effective threshold, once everything it needs is there."""
    if inputs.setting is None or inputs.setting_unit is None or inputs.offset_cm is None:
        return None
    return effective_threshold(inputs.setting, inputs.setting_unit, inputs.offset_cm,
                               offset_interval_cm=inputs.offset_interval_cm)


def threshold_result(inputs: Inputs, result: Threshold) -> None:
    """The sentence, the cards, and the drawing to scale."""
    blocks.step("What follows")
    interval = result.interval_cm_h2o
    notes = [f"= {_other_unit(result.value_cm_h2o, result.setting_unit)}, at the landmark",
             f"set to {both_units(result.setting_cm_h2o)}"]
    notes.append("no interval: how sure the offset is was not given" if interval is None else
                 f"95 % interval {both_units(interval[0])} to {both_units(interval[1])}")
    shown = convert(result.value_cm_h2o, CM_H2O_CODE, result.setting_unit)
    blocks.cards(blocks.card("The drain opens at", number_text(shown),
                             WORDS[result.setting_unit], notes))
    blocks.status_line(result.effect)
    show_drawing(bedside_drawing(_view(inputs, result)))
    if inputs.ordered is not None and inputs.ordered_unit is not None \
            and inputs.offset_cm is not None:
        with st.expander("The sum the other way round"):
            blocks.say(setting_for_threshold(
                inputs.ordered, inputs.ordered_unit, inputs.offset_cm).sentence)


def _view(inputs: Inputs, result: Threshold) -> Bedside:
    return Bedside(
        offset_cm=result.offset_cm, setting_cm=result.setting_cm_h2o,
        head=f"As it stands: {hanging_words(result.offset_cm)}",
        captions=(f"opens at {both_units(result.value_cm_h2o)}",
                  f"set to {both_units(result.setting_cm_h2o)}"),
        title=f"Side view to scale. {result.sentence}",
        landmark=visible(inputs.landmark) or "landmark")


def cautions() -> None:
    """What the figures do not know."""
    blocks.notice("What these figures do not know", [
        *CAUTIONS,
        "Drain or measure, not both at once: an open drain falsifies the pressure shown.",
        "Close the drain before patient, bed or system is moved; level again; open it again if "
        "the order says so."])

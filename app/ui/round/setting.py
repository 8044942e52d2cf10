"""Step 2: what the panel is set to, against the order, in the order's unit."""

from __future__ import annotations

import streamlit as st

from app.orders import unit_question
from app.records import SettingDraft
from app.records.errors import ConfirmError
from app.setting_compare import compare_setting
from app.ui import blocks
from app.ui.number import parse_decimal, within
from app.ui.round.act import confirm_button, initials_field, say_what_is_missing
from app.ui.round.fields import HIGHEST, LOWEST, UNITS, pressure_fields, signed_digits
from app.ui.round.state import RoundState
from app.ui.round.view import View
from vision.hydrostatics.units import WORDS


def setting_step(state: RoundState, view: View) -> None:
    """Draw the step."""
    order = view.order
    ordered = order.confirmed_value if order is not None else None
    if order is None or ordered is None or order.unit is None:
        blocks.say("No ordered threshold is on record: the setting is put on record as it is.")
    else:
        number = str(ordered).replace("-", "\N{MINUS SIGN}")
        blocks.cards(blocks.card("The order says", number, WORDS[order.unit]))
    key = f"round-set-{state.turn}"
    value, unit = pressure_fields("The panel is set to", "Unit printed on the panel", key)
    if value is not None and unit is not None and order is not None and ordered is not None \
            and order.unit is not None:
        found = compare_setting(value, unit, float(ordered), order.unit)
        blocks.status_line(found.sentence)
        question = unit_question(value, unit, other_value=ordered, other_unit=order.unit,
                                 other_name="order")
        if question is not None and not found.same:
            blocks.notice("Is the unit right?", [question.sentence], stop=True)
    initials_field(state)
    say_what_is_missing(state)
    confirm_button(state, view, "Confirm the setting", lambda: _draft(key),
                   "The setting check is on record.")


def _draft(key: str) -> tuple[SettingDraft, str]:
    """From the fields as they stand at the press."""
    digits = signed_digits(key)
    typed = within(parse_decimal(digits), LOWEST, HIGHEST)
    unit = UNITS.get(st.session_state.get(f"{key}-unit") or "")
    if typed.value is None:
        raise ConfirmError(typed.problem or "Type what the panel is set to.")
    if unit is None:
        raise ConfirmError("Choose the unit that is printed on the panel.")
    return SettingDraft(unit=unit), typed.text

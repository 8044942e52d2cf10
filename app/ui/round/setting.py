"""What the panel is set to: read first, then compared with the order, in the order's unit."""

from __future__ import annotations

import streamlit as st

from app.entering import Proposed
from app.orders import unit_question
from app.records import SettingDraft
from app.records.errors import ConfirmError
from app.setting_compare import compare_setting
from app.ui import blocks
from app.ui.number import parse_decimal, within
from app.ui.round.due import setting_due
from app.ui.round.fields import HIGHEST, LOWEST, UNITS, pressure_fields, signed_digits
from app.ui.round.rows import left_out, row, why_field
from app.ui.round.state import RoundState
from app.ui.round.view import View
from app.ui.unit_box import unit_box, unit_question_box


def setting_row(state: RoundState, view: View) -> None:
    """Draw the row; what the order says is not shown before the panel was read."""
    key = _key(state)
    with row(setting_due(view), "setting", state.key):
        value, unit = pressure_fields("The panel is set to", "Unit printed on the panel", key)
        if value is not None and unit is not None:
            _compared(state, view, value, unit)
        if st.checkbox("Not read now", key=f"{key}-not"):
            why_field(state, "setting")


def _compared(state: RoundState, view: View, value: float, unit: str) -> None:
    order = view.order
    if order is None or order.confirmed_value is None or order.unit is None:
        blocks.say("No ordered threshold is on record: the setting goes on record as it is.")
        return
    found = compare_setting(value, unit, float(order.confirmed_value), order.unit)
    if not state.setting_first:
        state.setting_first = _said(state)
    blocks.status_line(found.sentence)
    unit_box(_key(state), _asked(view, value, unit))


def _asked(view: View, value: float, unit: str) -> tuple[str, ...]:
    """The question about the unit of what was typed, where one is open."""
    order = view.order
    if order is None or order.confirmed_value is None or order.unit is None \
            or compare_setting(value, unit, float(order.confirmed_value), order.unit).same:
        return ()
    question = unit_question(value, unit, other_value=order.confirmed_value,
                             other_unit=order.unit, other_name="order")
    return () if question is None else (question.sentence,)


def setting_proposed(state: RoundState, view: View) -> list[Proposed]:
    """What of the setting goes on record.  Raises ConfirmError while it is due and open."""
    key = _key(state)
    if st.session_state.get(f"{key}-not"):
        return [left_out(state, "setting")]
    digits, unit = signed_digits(key), UNITS.get(st.session_state.get(f"{key}-unit") or "")
    if not digits and unit is None and not setting_due(view).due:
        return []
    typed = within(parse_decimal(digits), LOWEST, HIGHEST)
    if typed.value is None:
        raise ConfirmError(typed.problem or "Type what the panel is set to, or say why it is not "
                                            "read now.")
    if unit is None:
        raise ConfirmError("Choose the unit that is printed on the panel.")
    missing = unit_question_box(key, _asked(view, typed.value, unit)).missing
    if missing:
        raise ConfirmError(missing)
    first = state.setting_first
    changed = first and first != _said(state)
    return [Proposed(SettingDraft(unit=unit), {
        "confirmed_value": typed.text, "key": f"{state.form}-setting",
        "note": f"First typed as {first}, before the order was shown." if changed else ""})]


def _said(state: RoundState) -> str:
    key = _key(state)
    return f"{signed_digits(key)} {st.session_state.get(f'{key}-unit')}"


def _key(state: RoundState) -> str:
    return f"set-{state.key}"

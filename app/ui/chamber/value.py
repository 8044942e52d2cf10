"""The value to confirm: taken over with a press, typed, or dragged.

Nothing is filled in beforehand: a value that stands there already is confirmed
too easily.
"""

from __future__ import annotations

import streamlit as st

from app.ui.chamber.state import ChamberState
from app.ui.chamber.steps import typed_value, value_bounds
from app.ui.number import decimal_field, decimals_for, parse_decimal, show_number

#: How far the slider reaches either way from where it began.
REACH_DIVISIONS = 2


def value_fields(state: ChamberState) -> None:
    """Draw the buttons to take over, the field and the slider."""
    scale, reading, entry = state.scale, state.reading, state.value
    if scale is None:
        return
    with st.container(horizontal=True, key=f"take-{state.key}"):
        if state.own:
            st.button(f"Take mine: {state.own}", key=f"mine-{state.key}", on_click=entry.set,
                      args=(state.own,), width="stretch")
        if reading is not None and reading.value is not None:
            shown = show_number(reading.value, reading.division)
            digits = shown.replace("\N{MINUS SIGN}", "-")
            st.button(f"Take the tool's: {shown}", key=f"tools-{state.key}", on_click=entry.set,
                      args=(digits,), width="stretch")
    low, high = value_bounds(state)
    decimal_field(f"Value to confirm in {scale.unit}", _field_key(state), unit=scale.unit,
                  lowest=low, highest=high, placeholder="take one above, or type",
                  first=entry.first, on_change=_take_in, args=(state,))
    value = typed_value(entry.text, state).value
    if value is not None:
        _slider(state, value)


def value_now(state: ChamberState) -> str:
    """The digits to be confirmed as they stand at this moment, for callbacks as well."""
    _take_in(state)
    return state.value.text


def _take_in(state: ChamberState) -> None:
    state.value.take_in(st.session_state.get(_field_key(state)),
                        st.session_state.get(_slider_key(state)),
                        _places(state, state.value.text))


def _slider(state: ChamberState, value: float) -> None:
    scale, entry = state.scale, state.value
    assert scale is not None
    if entry.begin is None:
        entry.begin = entry.dragged = value
    begin, division = entry.begin, scale.division_at(value)
    low, high = value_bounds(state)
    st.slider(f"Drag to adjust, {scale.unit}", max(low, begin - REACH_DIVISIONS * division),
              min(high, begin + REACH_DIVISIONS * division), begin, step=division / 10,
              key=_slider_key(state), on_change=_take_in, args=(state,),
              format=f"%.{_places(state, entry.text)}f")


def _places(state: ChamberState, text: str) -> int:
    value = parse_decimal(text).value
    return 1 if state.scale is None or value is None else decimals_for(
        state.scale.division_at(value))


def _field_key(state: ChamberState) -> str:
    return f"value-{state.key}-{state.value.turn}"


def _slider_key(state: ChamberState) -> str:
    return f"drag-{state.key}-{state.value.drag_turn}"

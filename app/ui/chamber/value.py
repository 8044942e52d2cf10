"""The value to confirm: taken over with a press, typed, or stepped by tenths of a division.

Nothing is filled in beforehand: a value that stands there already is confirmed
too easily.  And nothing here changes by a swipe: a thumb that scrolls the page over a
slider moves it.
"""

from __future__ import annotations

from decimal import Decimal

import streamlit as st

from app.ui.chamber.state import ChamberState
from app.ui.chamber.steps import typed_value, value_bounds
from app.ui.number import decimal_field, show_number
from app.ui.text import as_label


def value_fields(state: ChamberState) -> None:
    """Draw the buttons to take over, the field, and the steps down and up."""
    scale, reading, entry = state.scale, state.reading, state.value
    if scale is None:
        return
    with st.container(horizontal=True, key=f"take-{state.key}"):
        if state.own:
            st.button(as_label(f"Take mine: {state.own}"), key=f"mine-{state.key}",
                      on_click=entry.set, args=(state.own,), width="stretch")
        if reading is not None and reading.value is not None:
            shown = show_number(reading.value, reading.division)
            digits = shown.replace("\N{MINUS SIGN}", "-")
            st.button(as_label(f"Take the tool's: {shown}"), key=f"tools-{state.key}",
                      on_click=entry.set, args=(digits,), width="stretch")
    low, high = value_bounds(state)
    decimal_field(f"Value to confirm in {scale.unit}", _field_key(state), unit=scale.unit,
                  lowest=low, highest=high, placeholder="take one above, or type",
                  first=entry.first, on_change=_take_in, args=(state,))
    value = typed_value(entry.text, state).value
    if value is not None:
        _steps(state, value)


def value_now(state: ChamberState) -> str:
    """The digits to be confirmed as they stand at this moment, for callbacks as well."""
    _take_in(state)
    return state.value.text


def _take_in(state: ChamberState) -> None:
    state.value.take_in(st.session_state.get(_field_key(state)))


def _steps(state: ChamberState, value: float) -> None:
    """Down and up by a tenth of a division; one press is one step."""
    scale = state.scale
    assert scale is not None
    tenth = Decimal(str(scale.division_at(value))) / 10
    with st.container(horizontal=True, key=f"steps-{state.key}"):
        for name, sign, way in (("down", "\N{MINUS SIGN}", -tenth), ("up", "+", tenth)):
            st.button(as_label(f"{sign} {tenth.normalize():f} {scale.unit}"),
                      key=f"{name}-{state.key}", on_click=_step, args=(state, way),
                      width="stretch")


def _step(state: ChamberState, way: Decimal) -> None:
    typed = typed_value(value_now(state), state)
    after = Decimal(typed.text) + way if typed.text else None
    if after is not None and typed_value(f"{after:f}", state).text:
        state.value.set(f"{after:f}")


def _field_key(state: ChamberState) -> str:
    return f"value-{state.key}-{state.value.turn}"

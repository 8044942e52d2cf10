"""A pressure with its sign and its unit, as it is typed on a telephone."""

from __future__ import annotations

import streamlit as st

from app.ui.number import decimal_field, parse_decimal
from app.ui.text import as_label
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE

#: Choices of the unit; none is chosen beforehand.
UNITS = {"cmH2O": CM_H2O_CODE, "mmHg": MM_HG_CODE}
LOWEST, HIGHEST = -100.0, 150.0


def pressure_fields(label: str, unit_label: str, key: str) -> tuple[float | None, str | None]:
    """Draw number, sign and unit; the value with its sign and the unit's code, or None.

    The number keys of some telephones have no minus, hence the box.
    """
    decimal_field(label, f"{key}-number", lowest=LOWEST, highest=HIGHEST)
    st.checkbox("below zero (negative)", key=f"{key}-minus")
    unit = st.segmented_control(as_label(unit_label), tuple(UNITS), key=f"{key}-unit",
                                width="stretch")
    return parse_decimal(signed_digits(key)).value, UNITS.get(unit or "")


def signed_digits(key: str) -> str:
    """The digits as typed, with the sign of the box; "" when they are no number."""
    text = parse_decimal(st.session_state.get(f"{key}-number") or "").text
    if not text:
        return ""
    return "-" + text.lstrip("+-") if st.session_state.get(f"{key}-minus") else text

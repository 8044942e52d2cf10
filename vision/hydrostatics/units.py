"""Pressure units of the bedside: UCUM codes, what people type, conversion.

Both columns are *conventional* units, exact by definition: 1 cm[H2O] =
98.0665 Pa, 1 mm[Hg] = 133.322387415 Pa, so 1 mm[Hg] = 1.35951 cm[H2O].
Source: NIST Special Publication 811 (2008), appendix B; unit codes: UCUM.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from typing import Any

from vision.constants import CM_H2O, MM_HG
from vision.errors import InputError

CM_H2O_CODE = "cm[H2O]"
MM_HG_CODE = "mm[Hg]"

#: Pascals in one of each unit.
PASCAL_PER: dict[str, float] = {
    CM_H2O_CODE: CM_H2O.value, MM_HG_CODE: MM_HG.value, "Pa": 1.0, "kPa": 1000.0,
}
#: How each unit is written for people.
WORDS: dict[str, str] = {CM_H2O_CODE: "cmH2O", MM_HG_CODE: "mmHg", "Pa": "Pa", "kPa": "kPa"}

_TYPED = {"cmh2o": CM_H2O_CODE, "mmhg": MM_HG_CODE, "pa": "Pa", "kpa": "kPa"}


def unit_code(text: str) -> str:
    """The UCUM code of a pressure unit as people type it (``cmH2O``, ``cm[H2O]``, ``mm Hg``).

    A bare ``cm`` or ``mm`` names no pressure and is refused, as is everything else.
    """
    key = re.sub(r"[\s\[\]_.]", "", text.replace("\N{SUBSCRIPT TWO}", "2")).lower()
    if key in _TYPED:
        return _TYPED[key]
    raise InputError(f"'{text}' is not a pressure unit that is used here: give "
                     "cm[H2O] or mm[Hg], as it stands on the order.")


def convert(value: Any, from_unit: str, to_unit: str) -> Any:
    """``value`` (a number or an array) from one pressure unit into another, by their codes."""
    return value * (PASCAL_PER[from_unit] / PASCAL_PER[to_unit])


def both_units(value_cm_h2o: float, digits: int = 1) -> str:
    """'7.0 cmH2O (5.2 mmHg)', with a true minus sign."""
    return (f"{number_text(value_cm_h2o, digits)} cmH2O "
            f"({number_text(convert(value_cm_h2o, CM_H2O_CODE, MM_HG_CODE), digits)} mmHg)")


def number_text(value: float, digits: int = 1) -> str:
    """A number for people: fixed digits, a true minus sign, never '-0.0'."""
    rounded = round(float(value), digits) + 0.0
    return f"{rounded:.{digits}f}".replace("-", "\N{MINUS SIGN}")


def exact_text(value: Decimal) -> str:
    """A number for people with the digits that were confirmed, and with a true minus sign."""
    return f"{value:f}".replace("-", "\N{MINUS SIGN}")


def signed_text(value: float, digits: int = 1) -> str:
    """The same with its sign, and with none before a nought."""
    text = number_text(value, digits)
    return f"+{text}" if round(float(value), digits) > 0 else text


def require_finite(value: float, what: str, low: float, high: float, unit: str) -> float:
    """``value`` when it is a plain number within the bounds, else InputError in one sentence."""
    value = float(value)
    if not math.isfinite(value) or not low <= value <= high:
        raise InputError(f"{what} of {value:g} {unit} is outside {low:g} to {high:g} {unit}: "
                         "check the number and its unit.")
    return value

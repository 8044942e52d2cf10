"""Exact decimal numbers as a person writes them: text in, text out, no binary floats."""

from __future__ import annotations

import re
from decimal import Decimal

from app.records.errors import ConfirmError

#: UCUM codes that the record knows, with the range a confirmed value must lie in.
#: The ranges only keep out nonsense (an extra zero typed, infinity); they are no
#: clinical limits.  A chamber volume cannot be negative; a height, an offset and
#: a threshold can.
UNIT_RANGES: dict[str, tuple[Decimal, Decimal]] = {
    "mL": (Decimal(0), Decimal(5000)),
    "cm": (Decimal(-300), Decimal(300)),
    "cm[H2O]": (Decimal(-300), Decimal(300)),
    "mm[Hg]": (Decimal(-300), Decimal(300)),
}

_PLAIN = re.compile(r"[+-]?\d{1,6}(?:[.,]\d{1,6})?")


def quantity(value: str | int | Decimal, what: str = "The value") -> Decimal:
    """The exact number meant by ``value``; a decimal comma is accepted.

    Digits are kept as written ("12.50" stays two-decimal).  Binary floats are
    refused because 12.3 is not 12.3 in binary; exponents, infinity and NaN are
    refused.  Raises ConfirmError with ``what`` as the subject of the sentence.
    """
    if isinstance(value, (bool, float)) or not isinstance(value, (str, int, Decimal)):
        raise ConfirmError(f"{what} must be given as a decimal number, digit by digit.")
    text = f"{value:f}" if isinstance(value, Decimal) else str(value).strip()
    if not _PLAIN.fullmatch(text) or not text.isascii():
        raise ConfirmError(f"{what} is not a plain number such as 23.5; type it again.")
    number = Decimal(text.replace(",", "."))
    return abs(number) if number == 0 else number


def in_unit(value: str | int | Decimal, unit: str, what: str = "The value") -> Decimal:
    """As :func:`quantity`, and within the range that the unit can have at all."""
    number = quantity(value, what)
    if unit not in UNIT_RANGES:
        known = ", ".join(UNIT_RANGES)
        raise ConfirmError(f"The unit '{unit}' is not one of {known}.")
    low, high = UNIT_RANGES[unit]
    if not low <= number <= high:
        raise ConfirmError(
            f"{what} {number:f} {unit} is outside {low} to {high} {unit}; check it and type it "
            "again.")
    return number


def measured(value: float, digits: int = 3) -> Decimal:
    """A machine's binary number as a decimal, rounded half-even to ``digits``."""
    number = round(Decimal(value), digits)
    if not number.is_finite():
        raise ConfirmError("The machine's value is not a finite number.")
    return abs(number) if number == 0 else number

"""Numbers as people type them: a comma or a point before the decimals."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import streamlit as st

from app.ui import blocks
from app.ui.text import as_label

_PLAIN = re.compile(r"[+-]?\d{1,6}(?:[.,]\d{1,6})?|[+-]?[.,]\d{1,6}")


@dataclass(frozen=True)
class TypedNumber:
    """What came out of a number field: a value, or None with the sentence why.

    ``text`` is the number digit by digit as it was typed, with a decimal point;
    the record keeps that and not the binary value.
    """

    value: float | None
    problem: str = ""
    text: str = ""


def parse_decimal(text: str, unit: str = "") -> TypedNumber:
    """Read ``text`` as one plain number; '23,5', '23.5' and '23.5 mL' are the same.

    Nothing is guessed: two separators ('1,234.5'), powers of ten and words are
    refused with a sentence.  An empty text gives neither value nor problem.
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if unit and plain.lower().endswith(unit.lower()):
        plain = plain[: -len(unit)].strip()
    if not plain:
        return TypedNumber(None)
    if not plain.isascii() or not _PLAIN.fullmatch(plain):
        return TypedNumber(None, "Type one plain number, for example 23.5 or 23,5.")
    digits = plain.replace(",", ".").removeprefix("+")
    if float(digits) == 0:
        digits = digits.removeprefix("-")
    return TypedNumber(float(digits), text=digits)


def decimals_for(division: float) -> int:
    """Decimal places that show a tenth of a division."""
    places = 0
    while places < 4 and division / 10 < 0.999 * 10**-places:
        places += 1
    return places


def show_number(value: float, division: float, signed: bool = False) -> str:
    """``value`` to a tenth of a division, with a true minus sign."""
    places = decimals_for(division)
    value = round(value, places) + 0.0  # turns -0.0 into 0.0
    text = f"{value:+.{places}f}" if signed and value else f"{value:.{places}f}"
    return text.replace("-", "\N{MINUS SIGN}")


def decimal_field(
    label: str,
    key: str,
    *,
    unit: str = "",
    lowest: float | None = None,
    highest: float | None = None,
    help: str | None = None,
    placeholder: str | None = None,
    first: str = "",
    on_change: Callable[..., None] | None = None,
    args: tuple[Any, ...] = (),
) -> TypedNumber:
    """A field for one number, with the telephone's number keys.

    Text that is not a number, or lies outside ``lowest`` .. ``highest``, is
    answered at once below the field and gives no value.  ``first`` is what the
    field begins with; keep it the same while the field is drawn.
    """
    with st.container(key=f"num-{key}"):
        text = st.text_input(as_label(label), first, key=key, placeholder=placeholder, max_chars=16,
                             help=as_label(help) if help else None, autocomplete="off",
                             on_change=on_change, args=args)
        typed = within(parse_decimal(text or "", unit), lowest, highest, unit)
        if typed.problem:
            blocks.alert(typed.problem)
    return typed


def typed_now(key: str, unit: str, lowest: float | None, highest: float | None) -> TypedNumber:
    """What a field says by now, for a press's own callback: the press may come before the page was
    drawn with what was typed last."""
    return within(parse_decimal(str(st.session_state.get(key) or ""), unit), lowest, highest, unit)


def within(
    typed: TypedNumber, lowest: float | None, highest: float | None, unit: str = ""
) -> TypedNumber:
    """The same number, refused with a sentence where it lies outside the bounds."""
    value = typed.value
    if value is None:
        return typed
    if (lowest is not None and value < lowest) or (highest is not None and value > highest):
        low = "" if lowest is None else f"at least {lowest:g}"
        high = "" if highest is None else f"at most {highest:g}"
        bounds = " and ".join(part for part in (low, high) if part)
        return TypedNumber(None, f"This has to be {bounds} {unit}".rstrip() + ".")
    return typed

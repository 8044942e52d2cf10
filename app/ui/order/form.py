"""The fields of an order, as the written order says it; nothing is filled in beforehand."""

from __future__ import annotations

from decimal import Decimal

import streamlit as st

from app.orders import DRAINS, LIMITS, Order, UnitQuestion, limits_question, unit_question
from app.records import Entry
from app.records.errors import ConfirmError
from app.ui import blocks, guard
from app.ui.number import decimal_field, parse_decimal, within
from app.ui.round.fields import HIGHEST, LOWEST, UNITS, pressure_fields, signed_digits
from app.ui.round.overview import SHOWN_DEFAULTS
from app.ui.text import as_label
from vision.hydrostatics.units import WORDS, both_units, convert

#: Largest number a limit field takes: a week in minutes, far above any volume.
_LARGEST = 10_080


def order_fields(key: str, before: Entry | None) -> None:
    """Draw all fields, the threshold in both units and the question about the unit."""
    st.text_input("Landmark, in the order's own words", key=f"{key}-landmark", max_chars=60,
                  autocomplete="off", placeholder="for example ear canal")
    value, unit = pressure_fields("Ordered threshold", "Unit as it stands on the order",
                                  f"{key}-set")
    if value is not None and unit is not None:
        blocks.say(f"That is {both_units(float(convert(value, unit, UNITS['cmH2O'])))}.")
    elif value is not None:
        blocks.say("10 mmHg is 13.6 cmH2O: the unit is never guessed.")
    asked = question(key, before)
    if asked is not None:
        blocks.notice("Is the unit right?", [asked.sentence], stop=True)
        st.checkbox("I looked at the written order again: number and unit are right",
                    key=_checked(key), wrap=True)
    st.radio("How to drain", DRAINS, index=None, key=f"{key}-drain",
             format_func=lambda d: as_label(d if d.startswith("closed") else f"drain {d}"))
    if st.session_state.get(f"{key}-drain") == "by volume":
        st.text_input("How much and how often, as written", key=f"{key}-volume", max_chars=80,
                      autocomplete="off", placeholder="for example 10 mL every hour, then close")
    st.text_input("Whom to tell, as written", key=f"{key}-tell", max_chars=80,
                  autocomplete="off")
    with st.expander("Limits that the order names (leave out what it does not)"):
        for name, words in LIMITS.items():
            decimal_field(f"{words.label}, {words.unit}", f"{key}-{name}", unit=words.unit,
                          lowest=0, highest=_LARGEST, placeholder=SHOWN_DEFAULTS.get(name))
    limits, _ = guard.in_words(lambda: _limits(key))
    odd = limits_question(limits or {})
    if odd:
        blocks.notice("Are these limits right?", [odd], stop=True)
        st.checkbox("I looked at the written order again: these limits are right",
                    key=_limits_checked(key, limits or {}), wrap=True)


def question(key: str, before: Entry | None) -> UnitQuestion | None:
    """The question about number and unit as they stand now."""
    value = _threshold(key)
    unit = UNITS.get(st.session_state.get(f"{key}-set-unit") or "")
    if value is None or unit is None:
        return None
    known = before is not None and before.confirmed_value is not None and before.unit in WORDS
    return unit_question(value, unit,
                         other_value=before.confirmed_value if known and before else None,
                         other_unit=before.unit if known and before else None,
                         other_name="order on record")


def typed_order(key: str, before: Entry | None) -> Order:
    """The order from the fields as they stand.  Raises an error of ours with a sentence."""
    said = st.session_state
    unit, asked = UNITS.get(said.get(f"{key}-set-unit") or ""), question(key, before)
    if asked is not None and not said.get(_checked(key)):
        raise ConfirmError("Answer the question about the unit first: look at the written order, "
                           "then tick the box or change the number.")
    limits = _limits(key)
    if limits_question(limits) and not said.get(_limits_checked(key, limits)):
        raise ConfirmError("Answer the question about the limits first: look at the written order, "
                           "then tick the box or change the number.")
    threshold = _threshold(key)
    if threshold is None and (said.get(f"{key}-set-number") or "").strip():
        raise ConfirmError("The ordered threshold is no plain number in cmH2O or mmHg.")
    drain = said.get(f"{key}-drain")
    if drain is None:
        raise ConfirmError("Choose how to drain, as the order says.")
    volume = said.get(f"{key}-volume") or "" if drain == "by volume" else ""
    return Order(landmark=said.get(f"{key}-landmark") or "", threshold=threshold, unit=unit,
                 drain=drain, drain_volume=volume,
                 limits=limits, tell_whom=said.get(f"{key}-tell") or "")


def _threshold(key: str) -> Decimal | None:
    text = within(parse_decimal(signed_digits(f"{key}-set")), LOWEST, HIGHEST).text
    return Decimal(text) if text else None


def _limits(key: str) -> dict[str, Decimal]:
    limits = {}
    for name, words in LIMITS.items():
        typed = within(parse_decimal(st.session_state.get(f"{key}-{name}") or "", words.unit), 0,
                       _LARGEST, words.unit)
        if typed.problem:
            raise ConfirmError(f"{words.label}: {typed.problem}")
        if typed.text:
            limits[name] = Decimal(typed.text)
    return limits


def _limits_checked(key: str, limits: dict[str, Decimal]) -> str:
    """The box belongs to the limits it was ticked for."""
    return f"{key}-limits-checked-{'-'.join(f'{n}{v}' for n, v in limits.items())}"


def _checked(key: str) -> str:
    """The box belongs to the number and unit it was ticked for."""
    unit = st.session_state.get(f"{key}-set-unit") or ""
    return f"{key}-checked-{signed_digits(f'{key}-set')}-{unit}"

"""The fields of the page: the order first, then the panel, then how the system hangs."""

from __future__ import annotations

from typing import Any

import streamlit as st

from app.records.codes import normal_bed
from app.ui import blocks, guard
from app.ui.bed import bed_help
from app.ui.number import TypedNumber, decimal_field
from app.ui.text import as_label
from app.ui.threshold.last import LastLevel, OnRecord, on_record
from app.ui.threshold.state import (
    HIGH,
    LEVEL,
    LOW,
    UNITS,
    Inputs,
    ThresholdState,
    offset_cm,
    signed,
    signed_text,
)

_UNIT_NAMES = tuple(UNITS)


def all_fields(state: ThresholdState) -> tuple[Inputs, OnRecord]:
    """Draw every field; what was typed, and what the record holds for the bed."""
    blocks.step("The order")
    typed = _text(state, "Bed code of your ward (no names)", "th-bed", 24) or ""
    bed_help("th", typed, lambda code: _put(state, "th-bed", code))
    bed = normal_bed(typed)
    known = _look_up(bed)
    if known.order is not None:
        blocks.say(known.order.sentence)
    landmark = _text(state, "Landmark, in the order's own words", "th-landmark", 40) or ""
    ordered, _ = _pressure(state, "Ordered threshold", "th-ordered")
    ordered_unit = _choice(state, "Unit as it stands on the order", "th-ordered-unit", _UNIT_NAMES)
    blocks.step("The panel")
    setting, text = _pressure(state, "The panel is set to", "th-setting")
    setting_unit = _choice(state, "Unit printed on the panel", "th-setting-unit", _UNIT_NAMES)
    blocks.step("The level")
    offset, interval = _offset(state, known.level)
    return Inputs(
        bed=bed, landmark=landmark.strip(), ordered=ordered,
        ordered_unit=UNITS.get(ordered_unit or ""), setting=setting, setting_text=text,
        setting_unit=UNITS.get(setting_unit or ""), offset_cm=offset,
        offset_interval_cm=interval), known


def take_bed(state: ThresholdState, code: str) -> None:
    """Put a bed code typed elsewhere on the page into its field, in a callback."""
    _put(state, "th-bed", code)


def _look_up(bed: str) -> OnRecord:
    if not bed:
        return OnRecord()
    known, problem = guard.in_words(lambda: on_record(bed))
    if known is None:
        blocks.notice("The record cannot be read", [problem], stop=True)
        return OnRecord()
    return known


def _pressure(state: ThresholdState, label: str, key: str) -> tuple[float | None, str]:
    """A pressure with its sign.  The number keys of some telephones have no minus."""
    typed = _number(state, label, key, -100, 150)
    first = bool(_first(state, f"{key}-minus", False))
    minus = st.checkbox("below zero (negative)", first, key=f"{key}-minus")
    state.kept[f"{key}-minus"] = minus
    return signed(typed.value, minus), signed_text(typed.text, minus)


def _offset(state: ThresholdState, level: LastLevel | None
            ) -> tuple[float | None, tuple[float, float] | None]:
    if level is not None:
        blocks.say(level.sentence)
        if level.offset_cm is not None and not level.stale:
            st.button("Take this offset", key="th-take", width="stretch",
                      on_click=_take, args=(state, level))
    way = _choice(state, "The zero reference, seen from the landmark", "th-way",
                  (LOW, LEVEL, HIGH))
    size = TypedNumber(0.0) if way == LEVEL else _number(state, "By how many cm", "th-size", 0, 150)
    give = _number(state, "Give or take how many cm (95 % sure), if known", "th-give", 0, 50)
    offset = offset_cm(size.value, way)
    if offset is None:
        return None, None
    taken = state.taken_interval
    if taken is not None and abs(taken[0] - offset) < 1e-9 and give.value is None:
        return offset, taken[1:]
    return offset, None if give.value is None else (offset - give.value, offset + give.value)


def _take(state: ThresholdState, level: LastLevel) -> None:
    offset = level.offset_cm
    if offset is None:
        return
    way = LEVEL if offset == 0 else LOW if offset < 0 else HIGH
    for key, value in (("th-way", way), ("th-size", f"{abs(offset):g}"), ("th-give", "")):
        _put(state, key, value)
    state.taken_interval = None if level.interval_cm is None else (offset, *level.interval_cm)


def _put(state: ThresholdState, key: str, value: str) -> None:
    st.session_state[key] = state.kept[key] = value
    state.begun[key] = None if key == "th-way" else ""  # two beginnings would be one too many


def _number(state: ThresholdState, label: str, key: str, low: float, high: float) -> TypedNumber:
    typed = decimal_field(label, key, lowest=low, highest=high, first=_first(state, key, ""))
    state.kept[key] = st.session_state[key]
    return typed


def _choice(state: ThresholdState, label: str, key: str, options: tuple[str, ...]) -> str | None:
    chosen = st.segmented_control(as_label(label), options, default=_first(state, key, None),
                                  key=key, width="stretch", format_func=as_label)
    state.kept[key] = chosen
    return chosen


def _text(state: ThresholdState, label: str, key: str, longest: int) -> str:
    text = st.text_input(as_label(label), _first(state, key, ""), key=key, max_chars=longest,
                         autocomplete="off")
    state.kept[key] = text
    return text


def _first(state: ThresholdState, key: str, empty: Any) -> Any:
    """What a field begins with: on a visit after another page, what it held before.

    Given to the field as its own beginning and kept the same while it is drawn: a
    value set from outside is lost when a quick hand interrupts the first run.
    """
    if key not in st.session_state or key not in state.begun:
        state.begun[key] = state.kept.get(key, empty)
    return state.begun[key]

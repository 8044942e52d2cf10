"""Entering what was done at the bedside: six events, each confirmed on its own."""

from __future__ import annotations

from typing import Any

import streamlit as st

from app.exports.entry_words import what
from app.records import WORDS, EventDraft
from app.ui import blocks, doubtful
from app.ui.confirm import Signature, confirm_block
from app.ui.number import decimal_field, parse_decimal
from app.ui.shift.state import SOURCES, ShiftState, event_names
from app.ui.shift.write import clock_box, put_on_record, time_field
from app.ui.text import as_label

#: What is worth a thought with each event; common practice, no source.
_REMINDERS = {
    "chamber-emptied": "Read the chamber before emptying it and once more afterwards: without "
                       "both values the output in between stays unknown.",
    "drain-opened": "Look at the level before you open.",
    "position-changed": "The last level check no longer counts: check the level again.",
}

#: The volumes that belong to an event, by the name that the record gives them.
VOLUMES: dict[str, dict[str, str]] = {
    "chamber-emptied": {
        "before_ml": "In the chamber before, mL (leave empty if not read)",
        "after_ml": "In the chamber afterwards, mL (leave empty if not read)"},
    "sample-taken": {"volume_ml": "Volume drawn, mL (leave empty if not known)"},
}


def events_block(state: ShiftState, bed: str) -> None:
    """Draw the form; the record is written in the button's own callback."""
    form = state.event
    blocks.step("Enter what was done")
    name = st.segmented_control("What was done", event_names(), key=f"ev-name-{form.turn}",
                                format_func=lambda n: as_label(WORDS[n].capitalize()), wrap=True)
    if name is None:
        blocks.say("Choose what was done. Readings, level and setting are confirmed on their own "
                   "pages.")
        return
    if name in _REMINDERS:
        blocks.say(_REMINDERS[name])
    _fields(name, _key(form.turn, name))
    time_field(f"ev-when-{form.turn}")
    st.text_input("Detail, if any (no names)", key=f"ev-detail-{form.turn}", max_chars=200,
                  autocomplete="off")
    doubtful.answer_field(form.key)
    clock_box(form, f"ev-clock-{form.turn}")
    turn = form.turn

    def pressed(who: Signature) -> None:
        if form.turn == turn and state.bed == bed:
            _record(state, name, who)

    confirm_block(f"ev-{form.key}", pressed, problems=form.missing, fixed_bed=bed,
                  label=f"Confirm: {WORDS[name]}")


def _key(turn: int, name: str) -> str:
    return f"ev-{name}-{turn}"


def _fields(name: str, key: str) -> None:
    """The fields that belong to the event."""
    for part, label in VOLUMES.get(name, {}).items():
        decimal_field(label, f"{key}-{part}", unit="mL", lowest=0)
    if name == "sample-taken":
        st.segmented_control("Where", tuple(SOURCES), key=f"{key}-source", width="stretch")


def _record(state: ShiftState, name: str, who: Signature) -> None:
    form = state.event
    key, asked = _key(form.turn, name), st.session_state
    volumes: dict[str, Any] = {}
    problems = []
    for part, label in VOLUMES.get(name, {}).items():
        typed = parse_decimal(asked.get(f"{key}-{part}") or "", "mL")
        if typed.problem:
            problems.append(f"{label.split(' (')[0]}: {typed.problem}")
        elif typed.text:
            volumes[part] = typed.text
    if problems:
        form.missing = tuple(problems)
        return
    draft = EventDraft(name, source=SOURCES.get(asked.get(f"{key}-source") or ""),
                       detail=asked.get(f"ev-detail-{form.turn}") or "", **volumes)
    entry = put_on_record(form, draft, who, when=asked.get(f"ev-when-{form.turn}") or "",
                          value=None, note="", clock_key=f"ev-clock-{form.turn}")
    if entry is not None:
        state.finish(form, f"Bed {entry.bed}: {what(entry)} at {entry.happened.local:%H:%M}, "
                           f"confirmed by {entry.initials}.")

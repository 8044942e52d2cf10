"""A reading without any photo: the person's eye, the scale and the four statements."""

from __future__ import annotations

import streamlit as st

from app.records import (
    Attestations,
    BedCode,
    ClockDoubtError,
    Initials,
    OwnReading,
    ReadingDraft,
)
from app.records.content import Entry
from app.records.errors import ConfirmError
from app.records.moment import Moment
from app.ui import doubtful, guard, signed_in
from app.ui.chamber.confirm import STATEMENTS
from app.ui.number import decimal_field, parse_decimal
from app.ui.round.act import EYE, initials_field, say_what_is_missing, take_initials
from app.ui.round.state import RoundState
from app.ui.round.view import View, look_up
from app.ui.scale_picker import pick_scale
from app.ui.text import as_label


def by_eye(state: RoundState, view: View) -> None:
    """Draw scale, value, statements and the button."""
    chamber, turn = state.chamber, state.turn
    key = f"round-eye-{turn}"
    pick_scale(key, chamber.scale, chamber.choose_scale)
    decimal_field("Your reading in mL", f"{key}-value", unit="mL", lowest=0)
    for name, text in STATEMENTS.items():
        st.segmented_control(as_label(text), ("Yes", "No"), key=f"{key}-{name}", width="stretch")
    st.text_input("Note (needed with a No)", key=f"{key}-note", max_chars=200,
                  autocomplete="off")
    doubtful.answer_field(key)
    initials_field(state, EYE)
    say_what_is_missing(state, EYE)

    def pressed() -> None:
        if state.turn != turn:
            return
        take_initials(state, EYE)
        entry, problem = guard.in_words(lambda: _write(state, view, key))
        if problem:
            state.missing, state.missing_at = (problem,), EYE
        else:
            state.go_on("" if entry is None else
                        f"{entry.confirmed_value} {entry.unit}, read by eye, is on record. "
                        f"Entry {entry.number}.")

    st.button("Confirm what my eye read", key=f"{key}-confirm", on_click=pressed, type="primary",
              width="stretch")


def _write(state: RoundState, view: View, key: str) -> Entry | None:
    scale, values = state.chamber.scale, st.session_state
    if look_up(view.bed).step != "read":
        return None  # a colleague was quicker
    if scale is None:
        raise ConfirmError("Choose the scale that is printed on the chamber.")
    typed = parse_decimal(values.get(f"{key}-value") or "", "mL")
    if typed.value is None:
        raise ConfirmError(typed.problem or "Type what you read.")
    answers = {name: values.get(f"{key}-{name}") for name in STATEMENTS}
    if None in answers.values():
        raise ConfirmError("Answer all four statements with Yes or No.")
    draft = ReadingDraft.by_eye(scale=scale, first=OwnReading.read(typed.text))
    try:
        return doubtful.put(
            key, typed.text, draft, by=Initials(state.initials), bed=BedCode(view.bed),
            confirmed_value=typed.text,
            attestations=Attestations(**{name: a == "Yes" for name, a in answers.items()}),
            note=values.get(f"{key}-note") or "", key=f"round-{state.form_key}",
            happened_at=Moment.now(), identity=signed_in.identity(),
            clock_checked=bool(values.get(f"round-clock-{state.turn}")))
    except ClockDoubtError:
        state.clock_doubt = True
        raise

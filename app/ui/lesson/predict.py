"""Predict first: a question before any number, shown on a press, hidden again on another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from app.ui import blocks, theme
from app.ui.lesson.state import LessonState
from app.ui.number import decimal_field, parse_decimal
from app.ui.text import as_label
from vision.hydrostatics.units import number_text

HIDDEN = "?"


@dataclass(frozen=True)
class Question:
    """What is asked, in which unit, and where the sliders go when it is answered."""

    words: str
    unit: str
    moves: Mapping[str, float]


def ask(state: LessonState, key: str, question: Question) -> None:
    """The question with its field and the button that shows; or the one that hides again."""
    if not state.hidden:
        st.button("Hide answers", key=f"{key}-hide", width="stretch", on_click=_hide, args=(state,),
                  help="For the projector: asks the next question and tells nothing before.")
        return
    blocks.say(question.words)
    field = f"{key}-said-{state.question}"
    with theme.enter_presses(field):
        left, right = st.columns(2, vertical_alignment="bottom")
    with left:
        decimal_field(f"Your prediction, {question.unit} (may stay empty)", field,
                      unit=question.unit, lowest=-500.0, highest=1000.0)
    with right:
        st.button(as_label("Show"), key=f"{key}-show", type="primary", width="stretch",
                  on_click=_show, args=(state, question, field))
    if state.problem:
        blocks.alert(state.problem)


def _show(state: LessonState, question: Question, field: str) -> None:
    typed = parse_decimal(str(st.session_state.get(field) or ""), question.unit)
    state.problem = typed.problem
    if typed.problem:
        return
    state.said, state.hidden = typed.value, False
    for key, value in question.moves.items():
        st.session_state[key] = state.kept[key] = value


def _hide(state: LessonState) -> None:
    state.hidden, state.said, state.problem = True, None, ""
    state.question += 1


def said_words(state: LessonState, value: float, unit: str, what: str) -> str:
    """The prediction beside what came of it; "" without one."""
    if state.hidden or state.said is None:
        return ""
    off = state.said - value
    far = "just so" if abs(off) < 0.05 else (
        f"{number_text(abs(off))} {unit} too {'high' if off > 0 else 'low'}")
    return f"You predicted {number_text(state.said)} {unit}; {what} {number_text(value)}: {far}."

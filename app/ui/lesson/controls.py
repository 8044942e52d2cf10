"""Sliders and choices that keep their position when another page was visited."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from app.ui.lesson.state import LessonState
from app.ui.text import as_label


def slider(state: LessonState, label: str, key: str, low: float, high: float, start: float,
           step: float) -> float:
    """A slider for plain numbers; whole steps show no decimals."""
    _restore(state, key, float(start))
    value = st.slider(as_label(label), float(low), float(high), step=float(step), key=key,
                      format="%.0f" if step == round(step) else "%.1f")
    state.kept[key] = value
    return float(value)


def choice(state: LessonState, label: str, key: str, options: Sequence[str], *,
           quiet: bool = False) -> str:
    """One of several words; the first one at the start.  ``quiet``: the label is only read out."""
    _restore(state, key, options[0])
    value = str(st.radio(as_label(label), options, key=key, horizontal=True, format_func=as_label,
                         label_visibility="collapsed" if quiet else "visible"))
    state.kept[key] = value
    return value


def hold(state: LessonState, label: str, key: str, row: tuple[float, ...]) -> None:
    """The buttons that hold what is shown beside what was held before, and clear all of it."""
    left, right = st.columns(2)
    left.button(as_label(label), key=f"{key}-hold", type="primary", on_click=state.hold,
                args=(row,), width="stretch")
    right.button("Clear", key=f"{key}-clear", on_click=state.held.clear, disabled=not state.held,
                 width="stretch")


def _restore(state: LessonState, key: str, start: object) -> None:
    """A widget that was not on the last page drawn has lost its position; give it back."""
    if key not in st.session_state:
        st.session_state[key] = state.kept.get(key, start)

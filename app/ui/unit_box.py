"""The question whether a unit is right, and the box that answers it before anything is signed."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import streamlit as st

from app.ui import blocks


@dataclass(frozen=True)
class UnitBox:
    """What is asked; ``key`` belongs to these very questions, so that a box ticked for one
    number does not answer for another."""

    key: str
    asked: tuple[str, ...]

    @property
    def missing(self) -> str:
        """What keeps it off the record, in words; "" once it is answered or nothing is asked."""
        if not self.asked or st.session_state.get(self.key):
            return ""
        return ("Answer the question about the unit first: look at the panel and at the written "
                "order, then tick the box or change the number.")


def unit_question_box(start: str, asked: Sequence[str]) -> UnitBox:
    """The questions and the box they belong to; draws nothing."""
    what = hashlib.sha256(" ".join(asked).encode()).hexdigest()[:12]
    return UnitBox(f"{start}-{what}-unit-right", tuple(asked))


def unit_box(start: str, asked: Sequence[str], *, tick: bool = True) -> UnitBox:
    """Draw the questions, if there are any, and the box where ``tick`` says that something may
    go on record."""
    box = unit_question_box(start, asked)
    if asked:
        blocks.notice("Is the unit right?", list(asked), stop=True)
        if tick:
            st.checkbox("I looked at the panel and at the written order again: numbers and units "
                        "are right", key=box.key, wrap=True)
    return box

"""The page "Level lesson": why the zero has to hang at the landmark."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks
from app.ui.lesson.controls import choice
from app.ui.lesson.level import LEVEL, move_things
from app.ui.lesson.paper import paper_for_the_class
from app.ui.lesson.rounds import round_view
from app.ui.lesson.state import LessonState
from app.ui.lesson.wide import use_width

TITLE = "Level lesson"
ORDER = 61
TEACHING = "Why the zero hangs at the landmark: move pole, bed and patient."
_STATE = "lesson_level_state"
MOVE, ROUND = "Move things", "Round of ten"


def page() -> None:
    """Draw the page."""
    state: LessonState = st.session_state.setdefault(_STATE, LessonState())
    use_width()
    blocks.title(TITLE, "Move pole, bed and patient and see the threshold move. For teaching; "
                        "nothing goes on record.")
    if choice(state, "What to do", "ll-mode", (MOVE, ROUND), quiet=True) == MOVE:
        move_things(state)
    else:
        round_view(state, LEVEL)
    paper_for_the_class(state)
    blocks.caution_box("A teaching model with made-up lengths, no patient and no advice. The "
                       "local order and trained staff decide; a drain is closed before anything "
                       "is moved.")

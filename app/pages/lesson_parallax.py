"""The page "Parallax lesson": why the eye has to stand at the height of the liquid."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks
from app.ui.lesson.controls import choice
from app.ui.lesson.own import own_photos, own_scale
from app.ui.lesson.paper import paper_for_the_class
from app.ui.lesson.parallax import look_around, parallax_round
from app.ui.lesson.rounds import round_view
from app.ui.lesson.state import LessonState
from app.ui.lesson.two_looks import TWO_LOOKS
from app.ui.lesson.wide import use_width

TITLE = "Parallax lesson"
ORDER = 60
TEACHING = "Why the eye belongs at the height of the liquid."
_STATE, _TWO_STATE = "lesson_parallax_state", "lesson_two_looks_state"
_OWN_STATE = "lesson_own_photos_state"
LOOK, ROUND, TWO, OWN = "Look around", "Round of ten", "Two looks", "Your photos"


def page() -> None:
    """Draw the page."""
    state: LessonState = st.session_state.setdefault(_STATE, LessonState())
    use_width()
    blocks.title(TITLE, "Move the eye and see the reading move. For teaching; nothing goes on "
                        "record.")
    todo = choice(state, "What to do", "le-mode", (LOOK, ROUND, TWO, OWN), quiet=True)
    if todo == LOOK:
        look_around(state)
    elif todo == TWO:
        round_view(st.session_state.setdefault(_TWO_STATE, LessonState()), TWO_LOOKS)
    elif todo == OWN:
        own_photos(st.session_state.setdefault(_OWN_STATE, LessonState()))
    else:
        round_view(state, parallax_round(state))
    if todo in (LOOK, ROUND):
        own_scale(state)
    paper_for_the_class(state)
    blocks.caution_box("A computed chamber of no real make. Real ones differ: the eye at the "
                       "meniscus is the cure for all of them, and the local order and trained "
                       "staff decide.")

"""The educator's own material in the parallax lesson: a scale file, and labelled photos."""

from __future__ import annotations

import secrets
from typing import Any

import numpy as np
import streamlit as st

from app.ui import blocks, guard, uploads
from app.ui.lesson.rounds import Lesson, round_view
from app.ui.lesson.state import LessonState, OwnPhoto
from app.ui.number import show_number
from app.ui.pictures import screen_copy
from app.ui.scale_picker import pick_scale, summary
from vision.errors import InputError
from vision.lesson.own_photos import LABELS, MOST_PHOTOS, labelled_photos
from vision.lesson.rounds import judge
from vision.scale_file.scale import Scale


def own_scale(state: LessonState) -> None:
    """Choose the scale of the lesson's chamber: the lesson's, a shipped one, or a file."""

    def choose(scale: Scale | None, problem: str) -> None:
        state.scale, state.own_problem = scale, problem
        state.held.clear()
        state.round.__init__()  # type: ignore[misc]

    with st.expander("Your own scale"):
        blocks.say("Pictures and rounds then show your chamber: marks, numbers and bore of the "
                   "scale file.")
        pick_scale(f"lesson-{state.own_key}", state.scale, choose)
        if state.scale is not None:
            blocks.say(summary(state.scale))
            st.button("Back to the lesson's chambers", key="le-scale-back", width="stretch",
                      on_click=_back, args=(state,))
        if state.own_problem:
            blocks.notice("This scale cannot be used", [state.own_problem], stop=True)


def _back(state: LessonState) -> None:
    state.scale, state.own_problem = None, ""
    state.own_key += 1
    state.held.clear()
    state.round.__init__()  # type: ignore[misc]


def own_photos(state: LessonState) -> None:
    """A round with the educator's own photos."""
    if not state.photos:
        blocks.say(f"One ZIP file: your photos and {LABELS}, a line a photo, for example "
                   '{"file": "a.jpg", "true_value": 23.5, "division": 1}. '
                   f"Up to {MOST_PHOTOS} photos; they stay in this session and nowhere else.")
        key = f"lo-file-{state.own_key}"
        st.file_uploader("Photos with labels (ZIP)", type=["zip"], key=key, max_upload_size=40,
                         on_change=_take, args=(state, key))
        if state.own_problem:
            blocks.notice("These photos cannot be used", [state.own_problem], stop=True)
        return
    round_view(state, _lesson(state))
    st.button("Other photos", key="lo-other", on_click=_drop, args=(state,), width="stretch")


def _take(state: LessonState, key: str) -> None:
    def read(data: bytes) -> tuple[OwnPhoto, ...]:
        return tuple(OwnPhoto(p.name, screen_copy(p.photo.rgb).jpeg, p.true_value, p.division)
                     for p in labelled_photos(data))

    file: Any = st.session_state.get(key)
    if not hasattr(file, "getvalue"):
        return
    photos, problem = guard.in_words(lambda: read(file.getvalue()))
    uploads.forget(file)
    state.own_key += 1
    state.photos, state.own_problem = photos or (), problem


def _drop(state: LessonState) -> None:
    state.photos = ()
    state.round.__init__()  # type: ignore[misc]


def _lesson(state: LessonState) -> Lesson:
    def plan(seed: int) -> tuple[OwnPhoto, ...]:
        if not state.photos:
            raise InputError("Choose photos first.")
        order = np.random.default_rng(secrets.randbelow(2**31)).permutation(len(state.photos))
        return tuple(state.photos[int(k)] for k in order)

    return Lesson(
        key="lo", causes={}, plan=plan, ask=_ask, show=_show,
        judge=lambda answer, photo: judge(answer, photo.true_value, photo.division, {}),
        truth=lambda photo: photo.true_value,
        label=lambda photo: "Which volume is in the chamber, mL?", unit=lambda photo: "mL",
        bounds=(0.0, 5000.0), measure="divisions", name="round with your photos",
        lead=f"{len(state.photos)} photos of yours, in an order of their own each time. Say how "
             "much is in the chamber, then see.")


def _ask(state: LessonState, photo: OwnPhoto) -> None:
    st.image(photo.jpeg, width="stretch", alt="The photo to be read")


def _show(state: LessonState, photo: OwnPhoto) -> None:
    blocks.cards(blocks.card("True", show_number(photo.true_value, photo.division), "mL",
                             ["as its label says"]))

"""The tool's reading beside the person's, the picture, the reasons, the budget."""

from __future__ import annotations

import numpy as np
import streamlit as st

from app.ui import blocks, guard
from app.ui.chamber import words
from app.ui.chamber.state import ChamberState
from app.ui.chamber.steps import plain_picture
from app.ui.number import decimal_field, show_number
from app.ui.pictures import close_up_box, screen_copy
from app.ui.tap import tap_picture
from vision import volume
from vision.budget import combined_standard_uncertainty
from vision.photo import Photo
from vision.reading import VolumeReading

MACHINE = "Machine reading, not a record"


def ask_the_tool(state: ChamberState) -> None:
    """Read the photo in hand, once; only after the person's own turn."""
    if not state.may_read or state.reading is not None or state.reading_problem:
        return
    photo, scale = state.photo, state.scale
    assert photo is not None and scale is not None
    with st.spinner("Reading the photo"):
        state.reading, state.reading_problem = guard.in_words(
            lambda: volume.read_volume(photo, scale, near=state.near, number=state.number))


def value_cards(state: ChamberState) -> None:
    """Your reading, the tool's, and their difference, each under its own words."""
    reading = state.reading
    if reading is None:
        return
    unit, own = reading.unit, float(state.own) if state.own else None
    parts = [blocks.card(
        "Your reading", state.own or "none", unit if state.own else "",
        ["Typed before the tool's was shown" if state.own else
         "You chose to go without; the record will say so"])]
    if reading.value is not None:
        parts.append(blocks.card(
            MACHINE, words.value_text(reading.value, reading), unit,
            [words.interval_text(reading)], "machine"))
        comparison = words.compare(own, reading) if own is not None else None
        if comparison is not None and own is not None:
            parts.append(blocks.card(
                "Difference, yours minus the tool's",
                show_number(own - reading.value, reading.division, signed=True), unit,
                [comparison.divisions, comparison.sentence], "difference"))
    else:
        parts.append(blocks.card(MACHINE, "no value", "",
                                 [words.HEAD.get(reading.status, "")], "machine"))
    blocks.cards(*parts)


def explanation(state: ChamberState) -> None:
    """Refusal or remarks in words, what an eye would take, and the budget."""
    reading = state.reading
    if reading is None:
        if state.reading_problem:
            blocks.notice("The tool gives no reading", [state.reading_problem], stop=True)
        return
    points = words.reasons_and_advice(reading)
    if reading.status != "read":
        blocks.notice(words.HEAD[reading.status], points, stop=True)
    elif points:
        blocks.notice("Please note", points)
    views = [t for t in (words.naive_text(reading), words.sight_text(reading)) if t]
    if views:
        blocks.notice("Where the camera stood", views)
    if reading.budget:
        _budget(reading)


def _budget(reading: VolumeReading) -> None:
    total = combined_standard_uncertainty(reading.budget)
    with st.expander("Where the uncertainty comes from"):
        rows = [(t.term, f"{t.standard_uncertainty:.3f}", t.note) for t in reading.budget]
        rows.append(("all together", f"{total:.3f}", "root of the sum of squares"))
        blocks.table(("Term", f"Standard uncertainty, {reading.unit}", "From"), rows, (1,))


def pictures(state: ChamberState) -> None:
    """What the tool saw, drawn on the photo: close-up and whole."""
    photo, reading = state.photo, state.reading
    if photo is None or reading is None or not reading.traces or state.undrawable:
        plain_picture(state)
        return
    if "overlay" not in state.copies:
        drawn, _problem = guard.in_words(lambda: _drawn(photo, reading))
        if drawn is None:
            state.undrawable = True
            plain_picture(state)
            return
        height, width = drawn.shape[:2]
        reduced = photo.width / width
        state.copies["overlay"] = screen_copy(drawn, reduced=reduced)
        box = close_up_box(reading, width, height, reduced)
        if box is not None:
            state.copies["close-up"] = screen_copy(drawn, box, reduced)
    views = ["Close-up", "Whole photo"] if "close-up" in state.copies else ["Whole photo"]
    view = views[0]
    if len(views) > 1:
        view = st.segmented_control("Picture", views, default=views[0], required=True,
                                    key=f"view-{state.key}", width="stretch")
    copy = state.copies["close-up" if view == "Close-up" else "overlay"]
    st.image(copy.jpeg, width="stretch", caption="What the tool saw: machine drawing, no record",
             alt="The photo with the marks, the surface and the reading line that the tool found")


def _drawn(photo: Photo, reading: VolumeReading) -> np.ndarray:
    from vision.overlay import draw_overlay

    return draw_overlay(photo, reading)


def question(state: ChamberState) -> None:
    """What the tool asks of the person, answered by a tap or by numbers."""
    photo, reading = state.photo, state.reading
    if photo is None or reading is None or reading.question is None:
        return
    asked, key = reading.question, f"{state.key}-{state.answers}"
    blocks.notice("The tool asks you", [asked.sentence])
    if "plain" not in state.copies:
        state.copies["plain"] = screen_copy(photo.working_rgb,
                                             reduced=photo.working_scale)
    by_number = asked.kind == "number"
    what = {"number": "a mark whose value you know", "which-chamber": "the chamber that is meant",
            "which-surface": "the liquid surface"}[asked.kind]
    point = tap_picture(state.copies["plain"], key, what)
    typed = (decimal_field(f"Value of that mark in {reading.unit}", f"mark-{key}",
                           unit=reading.unit) if by_number else None)
    ready = point is not None and (typed is None or typed.value is not None)

    def answer() -> None:
        if point is None or (typed is not None and typed.value is None):
            state.unanswered = f"Tap {what}" + (" and type its value." if by_number else ".")
        elif typed is not None and typed.value is not None:
            state.answer(number=(typed.value, point))
        else:
            state.answer(near=point)

    st.button("Read again with this", key=f"again-{key}", on_click=answer, width="stretch",
              type="primary" if ready else "secondary")
    if state.unanswered:
        blocks.notice("Not read again yet", [state.unanswered], stop=True)

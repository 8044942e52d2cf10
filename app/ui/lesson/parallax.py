"""The pieces of the parallax lesson: look around, compare, and the round of ten."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import streamlit as st

from app.ui import blocks
from app.ui.drawing import show_drawing
from app.ui.lesson.controls import choice, hold, slider
from app.ui.lesson.follow import follow
from app.ui.lesson.picture import eye_picture
from app.ui.lesson.plot import Line, curve_drawing
from app.ui.lesson.predict import HIDDEN, Question, ask, said_words
from app.ui.lesson.rounds import Lesson
from app.ui.lesson.sight_drawing import sight_drawing
from app.ui.lesson.state import LessonState
from app.ui.number import show_number
from vision.hydrostatics.units import signed_text
from vision.lesson.parallax import (
    BORE_BOUNDS_MM,
    EyeReading,
    EyeView,
    error_curve,
    eye_reading,
    lesson_scale,
)
from vision.lesson.rounds import PARALLAX_CAUSES, ChamberTask, chamber_tasks, judge_chamber
from vision.synthetic.chamber.lesson_picture import framing_mm

_REACH_CM = 25.0
#: How high the liquid stands, mm over the lowest mark: the same in every bore.
_LEVELS_MM = (46.7, 27.2, 58.0, 39.1, 52.3)
_WATERS = ("pink", "straw", "clear", "red")


@st.fragment
def look_around(state: LessonState) -> None:
    """A question first; then the picture from that eye, the sight line, the numbers, the plot."""
    left, right = st.columns(2, gap="medium")
    with left:
        # Above the picture: there both are on the screen, on a telephone and a projector.
        height = slider(state, "Eye above (+) or below (\N{MINUS SIGN}) the level, cm",
                        "le-height", -_REACH_CM, _REACH_CM, 10, 0.5)
        picture = st.container(key="le-picture")
    beside = right.container(key="le-beside")
    left, right = st.columns(2, gap="medium")
    with left:
        view, fluid = _sliders(state, height)
    seen = eye_reading(view)
    with beside:
        ask(state, "le", _question(state, height))
        with st.container(key="le-cards"):
            _cards(seen, state.hidden)
        if not state.hidden:
            if words := said_words(state, seen.naive_value, seen.unit, "the eye reads"):
                blocks.status_line(words)
            show_drawing(sight_drawing(view))
    with right:
        if state.hidden:
            blocks.say("The curve of the error comes with the answer.")
        else:
            _curve(state, view, seen)
            _holding(state, view, seen)
    picture.image(eye_picture(state, view, fluid), width="stretch",
                  alt="The chamber, traced from where the eye stands")
    if state.scale is not None:
        return  # quick pictures are of the lesson's chambers
    follow("le-height", "height", height, "/lesson/eye.jpg", {
        "bore": 2 * view.bore_radius_mm, "level_mm": view.level_mm, "fluid": fluid,
        "distance": view.distance_mm / 10, "contact": view.contact_angle_deg,
        "lean": view.lean_deg, "hidden": int(state.hidden)},
        picture="le-picture", cards="le-cards")


#: Where the eye goes for one question after the other, cm over the level.
_GOES_TO_CM = (0.0, -10.0, 10.0, 5.0, -5.0, 20.0)


def _question(state: LessonState, height: float) -> Question:
    targets = [t for t in _GOES_TO_CM if abs(t - height) >= 2.5]
    target = targets[state.question % len(targets)]
    moved = abs(target - height)
    way = f"bend down {moved:g} cm" if target < height else f"come up {moved:g} cm"
    where = "to the level" if target == 0 else (
        f"to {abs(target):g} cm {'above' if target > 0 else 'below'} the level")
    return Question(f"The eye is {_place(height)}. Where will it read if you {way}, {where}?", "mL",
                    {"le-height": target})


def _place(height: float) -> str:
    if height == 0:
        return "at the level"
    return f"{abs(height):g} cm {'above' if height > 0 else 'below'} the level"


def _sliders(state: LessonState, height: float) -> tuple[EyeView, str]:
    distance = slider(state, "Distance of the eye, cm", "le-distance", 25, 80, 35, 1)
    bore = 0.0
    if state.scale is None:
        bore = slider(state, "Bore of the chamber, mm", "le-bore", BORE_BOUNDS_MM[0],
                      BORE_BOUNDS_MM[1], 30, 2)
    contact = slider(state, "Contact angle of liquid and wall, degrees (90: flat)", "le-contact",
                     15, 90, 65, 5)
    lean = slider(state, "Chamber leans away (+) or towards you (\N{MINUS SIGN}), degrees",
                  "le-lean", -4, 4, 0, 0.5)
    fluid = choice(state, "Liquid", "le-fluid", _WATERS)

    def other_level() -> None:
        state.level_choice += 1

    st.button("Another level", key="le-level", on_click=other_level, width="stretch")
    scale = state.scale or lesson_scale(bore)
    low, high = sorted((scale.lowest_mark.height_mm, scale.highest_mark.height_mm))
    level_mm = _LEVELS_MM[state.level_choice % len(_LEVELS_MM)]
    if state.scale is not None:  # as far up as on a lesson's scale of 85 mm
        level_mm = low + (high - low) * level_mm / 85.0
    value = float(scale.value_at(level_mm))
    return EyeView(scale, value, 10 * height, 10 * distance, contact, lean), fluid


def eye_numbers(seen: EyeReading) -> list[str]:
    """What the cards show: read, true, error."""
    return [show_number(seen.naive_value, seen.division),
            show_number(seen.true_value, seen.division),
            show_number(seen.error, seen.division, signed=True)]


def _cards(seen: EyeReading, hidden: bool = False) -> None:
    unit, division = seen.unit, seen.division
    read, true, error = [HIDDEN] * 3 if hidden else eye_numbers(seen)
    edges = [] if hidden else [f"front edge {show_number(seen.rim_value, division)}, "
                               f"back edge {show_number(seen.back_value, division)}"]
    blocks.cards(
        blocks.card("The eye reads", read, unit),
        blocks.card("True", true, unit, edges),
        blocks.card("Error", error, unit, [f"1 division is {division:g} {unit}"], "difference"))


def _curve(state: LessonState, view: EyeView, seen: EyeReading) -> None:
    heights = np.linspace(-_REACH_CM, _REACH_CM, 101)
    errors = error_curve(view, 10 * heights)
    half = 0.5 * seen.division
    show_drawing(curve_drawing(
        [Line(list(zip(heights, errors, strict=True)))],
        "eye over the level, cm", f"error, {seen.unit}; dashed: half a division",
        f"Error against the height of the eye, at {view.distance_mm / 10:g} cm: from "
        f"{errors[0]:.1f} to {errors[-1]:.1f} {seen.unit}. Here {seen.error:.1f}.",
        now=(view.eye_height_mm / 10, seen.error),
        held=[(row[0], row[5]) for row in state.held if row[1:3] == _same(view)],
        guides=(-half, half)))


def _same(view: EyeView) -> tuple[float, float]:
    """What has to agree for a held reading to belong on the same curve."""
    return view.distance_mm / 10, view.scale.inner_radius_mm(view.true_value) * 2


def _holding(state: LessonState, view: EyeView, seen: EyeReading) -> None:
    row = (view.eye_height_mm / 10, *_same(view), seen.naive_value, seen.true_value, seen.error,
           seen.error_divisions, seen.division)
    hold(state, "Hold the reading", "le", row)
    if state.held:
        blocks.table(
            ("Eye, cm", "Away, cm", "Bore, mm", "Reads, mL", "True, mL", "Error, mL", "Divisions"),
            [(signed_text(r[0]), f"{r[1]:g}", f"{r[2]:g}", show_number(r[3], r[7]),
              show_number(r[4], r[7]), show_number(r[5], r[7], signed=True),
              show_number(r[6], 1.0, signed=True)) for r in state.held])


# ------------------------------------------------------------------ the round
def _ask(state: LessonState, task: ChamberTask) -> None:
    st.image(eye_picture(state, task.view, task.fluid, task.look, framing_mm(task.look), fine=True),
             width="stretch", alt="The chamber to be read")


def _show(state: LessonState, task: ChamberTask) -> None:
    seen = eye_reading(task.view)
    _cards(seen)
    show_drawing(sight_drawing(task.view))


PARALLAX = Lesson(
    key="lp", causes=PARALLAX_CAUSES, plan=chamber_tasks, judge=judge_chamber, ask=_ask, show=_show,
    truth=lambda task: task.view.true_value,
    label=lambda task: "Which volume is in the chamber, mL?", unit=lambda task: "mL",
    bounds=(0.0, 500.0), measure="divisions",
    lead="Ten pictures. Say how much is in the chamber, to a tenth of a division; then see what "
         "is true, and which of six errors caught you. Each picture is laid out for one of them. "
         "Nothing is kept when you leave.")


def parallax_round(state: LessonState) -> Lesson:
    """The round of ten, on the educator's own scale if there is one."""
    if state.scale is None:
        return PARALLAX
    return replace(PARALLAX, plan=partial(chamber_tasks, scale=state.scale))

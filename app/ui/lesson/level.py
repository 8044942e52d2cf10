"""The pieces of the level lesson: move pole, bed and patient, and the round of ten."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import streamlit as st

from app.ui import blocks, guard
from app.ui.drawing import show_drawing
from app.ui.lesson.controls import choice, hold, slider
from app.ui.lesson.follow import follow
from app.ui.lesson.plot import Line, curve_drawing
from app.ui.lesson.predict import HIDDEN, Question, ask, said_words
from app.ui.lesson.rounds import Lesson
from app.ui.lesson.state import LessonState
from app.ui.threshold.state import UNITS
from vision.constants import DRAIN_LINE_RESISTANCE_LIMIT
from vision.hydrostatics import WORDS, both_units
from vision.hydrostatics.threshold import Threshold
from vision.hydrostatics.units import number_text, signed_text
from vision.lesson.level import (
    INFLOW_ML_H,
    LEVEL_CAUSES,
    STIFFNESS_CM_H2O_PER_ML,
    BedView,
    DrainModel,
    LevelTask,
    drain_course,
    in_unit,
    judge_level,
    level_tasks,
    level_threshold,
)
from vision.lesson.level_drawing import REACH_CM, asking_drawing, before_drawing, now_drawing

_MODEL_WORDS = (
    "Teaching model, not a patient: one store of fluid that stiffens evenly, a steady inflow, one "
    "resistance. It drains when the pressure at the landmark is above the threshold, "
    "(pressure \N{MINUS SIGN} threshold) / resistance, and not at all below it. No heartbeat, no "
    "cough, no absorption, no closed stopcock.")


@st.fragment
def move_things(state: LessonState) -> None:
    """A question first; then sliders, the side view, the threshold, and the next hour."""
    left, right = st.columns(2, gap="medium")
    with left:
        drawn = st.container(key="ll-picture")
    with right:
        pole = slider(state, "System raised (+) or lowered (\N{MINUS SIGN}) on its pole, cm",
                      "ll-pole", -20, 20, 0, 0.5)
        angle = slider(state, "Head of the bed now, degrees (levelled at 30)", "ll-angle", 0, 75,
                       30, 1)
        asked = st.container(key="ll-beside")
    left, right = st.columns(2, gap="medium")
    with left:
        slid = slider(state, "Patient slid down the bed, cm", "ll-slid", -5, 25, 0, 1)
        bed = slider(state, "Whole bed raised (+) or lowered (\N{MINUS SIGN}), cm", "ll-bed", -20,
                     20, 0, 1)
    with right:
        setting = slider(state, "Chamber set to, on the panel", "ll-setting", -5, 25, 10, 1)
        words = choice(state, "Unit of the panel", "ll-unit", tuple(UNITS))
    view = BedView(setting, UNITS[words], pole, 30.0, angle, slid, bed)
    now, problem = guard.in_words(lambda: level_threshold(view))
    if now is None:
        blocks.notice("These numbers cannot be used", [problem], stop=True)
        return
    with asked:
        ask(state, "ll", _question(state, view))
        with st.container(key="ll-cards"):
            _cards(view, now, state.hidden)
        if words := said_words(state, in_unit(now.value_cm_h2o, view.unit), WORDS[view.unit],
                               "it opens at"):
            blocks.status_line(words)
    with drawn:
        show_drawing((asking_drawing if state.hidden else now_drawing)(view, now, REACH_CM))
    for key, name, value in (("ll-pole", "pole", pole), ("ll-angle", "angle", angle),
                             ("ll-slid", "slid", slid), ("ll-bed", "bed", bed)):
        told = {"setting": setting, "unit": view.unit, "pole": pole, "angle": angle, "slid": slid,
                "bed": bed, "hidden": int(state.hidden)}
        del told[name]
        follow(key, name, value, "/lesson/bed.svg", told, picture="ll-picture", cards="ll-cards")
    if state.hidden:
        blocks.say("The curve and the next hour come with the answer.")
        return
    left, right = st.columns(2, gap="medium")
    with left:
        _curve(state, view, now)
        _holding(state, view, now)
    with right:
        _next_hour(state, view, now)


#: What moves for one question after the other: slider, how far, in words.
_MOVES = (("ll-angle", 15.0, "the head of the bed is raised by 15 degrees"),
          ("ll-pole", 5.0, "the system is raised by 5 cm on its pole"),
          ("ll-slid", 10.0, "the patient slides 10 cm down the bed"),
          ("ll-angle", -20.0, "the head of the bed is lowered by 20 degrees"),
          ("ll-bed", 10.0, "the whole bed is raised by 10 cm"),
          ("ll-pole", -8.0, "the system is lowered by 8 cm on its pole"))


def _question(state: LessonState, view: BedView) -> Question:
    at = {"ll-angle": (view.bed_to_deg, 0.0, 75.0), "ll-pole": (view.pole_cm, -20.0, 20.0),
          "ll-slid": (view.slid_cm, -5.0, 25.0), "ll-bed": (view.bed_cm, -20.0, 20.0)}
    possible = [(key, at[key][0] + by, words) for key, by, words in _MOVES
                if at[key][1] <= at[key][0] + by <= at[key][2]]
    key, target, words = possible[state.question % len(possible)]
    unit = WORDS[view.unit]
    return Question(f"The panel is set to {view.setting:g} {unit}. If {words} and all else stays, "
                    f"at which pressure will it open at the landmark?", unit, {key: target})


def bed_numbers(view: BedView, now: Threshold) -> list[str]:
    """What the cards show: where it opens, how far that is off."""
    return [number_text(in_unit(now.value_cm_h2o, view.unit)),
            signed_text(in_unit(now.value_cm_h2o - now.setting_cm_h2o, view.unit))]


def _cards(view: BedView, now: Threshold, hidden: bool = False) -> None:
    unit = WORDS[view.unit]
    if hidden:
        blocks.cards(blocks.card("Opens at", HIDDEN, unit), blocks.card("Off by", HIDDEN, unit))
        return
    opens, off = bed_numbers(view, now)
    blocks.cards(
        blocks.card("Opens at", opens, unit,
                    [f"= {_other_unit(now.value_cm_h2o, view.unit)}, at the landmark"]),
        blocks.card("Off by", off, unit,
                    [f"the system hangs {_offset_words(now.offset_cm)}",
                     f"landmark {signed_text(view.landmark_rise_cm)} cm, "
                     f"pole {signed_text(view.pole_cm)} cm"]))


def _other_unit(value_cm_h2o: float, unit: str) -> str:
    """A pressure in the unit that the panel does not use."""
    other = next(code for code in UNITS.values() if code != unit)
    return f"{number_text(in_unit(value_cm_h2o, other))} {WORDS[other]}"


def _offset_words(offset_cm: float) -> str:
    if abs(offset_cm) < 0.05:
        return "level with the landmark"
    return f"{number_text(abs(offset_cm))} cm too {'high' if offset_cm > 0 else 'low'}"


def _curve(state: LessonState, view: BedView, now: Threshold) -> None:
    angles = np.linspace(0.0, 75.0, 76)
    off = [level_threshold(replace(view, bed_to_deg=float(a))) for a in angles]
    errors = [in_unit(t.value_cm_h2o - t.setting_cm_h2o, view.unit) for t in off]
    here = in_unit(now.value_cm_h2o - now.setting_cm_h2o, view.unit)
    unit = WORDS[view.unit]
    show_drawing(curve_drawing(
        [Line(list(zip(angles, errors, strict=True)))],
        "head of the bed, degrees", f"threshold off by, {unit}",
        f"How far the threshold is off, against the head of the bed: {errors[0]:.1f} {unit} "
        f"flat, {errors[-1]:.1f} at 75 degrees. Here {here:.1f}.",
        now=(view.bed_to_deg, here),
        held=[(r[1], in_unit(r[5], view.unit)) for r in state.held]))


def _next_hour(state: LessonState, view: BedView, now: Threshold) -> None:
    with st.expander("The teaching model's numbers"):
        blocks.say(_MODEL_WORDS)
        pressure = slider(state, "Pressure at the landmark to begin with, cmH2O", "ll-pressure",
                          0, 30, 12, 1)
        resistance = slider(state, "Resistance of the line, mmHg min/mL", "ll-resistance", 0.5, 10,
                            DRAIN_LINE_RESISTANCE_LIMIT.value, 0.5)
        inflow = slider(state, "Inflow of fluid, mL/h", "ll-inflow", 0, 40, INFLOW_ML_H, 1)
        stiff = slider(state, "Stiffness, cmH2O for each mL (0: pressure held)", "ll-stiff", 0, 5,
                       STIFFNESS_CM_H2O_PER_ML, 0.5)
    model = DrainModel(pressure, now.value_cm_h2o, resistance, inflow, stiff)
    levelled = level_threshold(BedView(view.setting, view.unit))
    course = drain_course(model)
    wanted = drain_course(replace(model, threshold_cm_h2o=levelled.value_cm_h2o))
    minutes = 60 * course.hours
    show_drawing(curve_drawing(
        [Line(list(zip(minutes, wanted.drained_ml, strict=True)), dash="7 5"),
         Line(list(zip(minutes, course.drained_ml, strict=True)))],
        "minutes", "drained, mL; dashed: as levelled",
        f"Teaching model: {course.total_ml:.1f} mL in an hour as it hangs, "
        f"{wanted.total_ml:.1f} mL as levelled.", now=(60.0, course.total_ml)))
    blocks.say(f"Teaching model, the next hour: {number_text(course.total_ml)} mL as it hangs, "
               f"{number_text(wanted.total_ml)} mL if it hung level.")


def _holding(state: LessonState, view: BedView, now: Threshold) -> None:
    row = (view.pole_cm, view.bed_to_deg, view.slid_cm, view.bed_cm, now.offset_cm,
           now.value_cm_h2o - now.setting_cm_h2o, now.value_cm_h2o)
    hold(state, "Hold this position", "ll", row)
    if state.held:
        blocks.table(
            ("Pole, cm", "Head, degrees", "Slid, cm", "Bed, cm", "Offset, cm", "Opens at"),
            [(signed_text(r[0]), f"{r[1]:g}", f"{r[2]:g}", signed_text(r[3]), signed_text(r[4]),
              both_units(r[6])) for r in state.held])


# ------------------------------------------------------------------ the round
def _ask(state: LessonState, task: LevelTask) -> None:
    for sentence in task.sentences:
        blocks.say(sentence)
    # Drawn as it was before anything moved: a drawing to scale would give the sum away.
    show_drawing(before_drawing(task.view))


def _show(state: LessonState, task: LevelTask) -> None:
    now = level_threshold(task.view)
    _cards(task.view, now)
    show_drawing(now_drawing(task.view, now))
    blocks.notice("The sum", [
        f"offset = pole ({signed_text(task.view.pole_cm)}) \N{MINUS SIGN} landmark "
        f"({signed_text(task.view.landmark_rise_cm)}) = {signed_text(now.offset_cm)} cm",
        f"setting {both_units(now.setting_cm_h2o)}, with that offset: "
        f"{both_units(now.value_cm_h2o)}"])


LEVEL = Lesson(
    key="lv", causes=LEVEL_CAUSES, plan=level_tasks, judge=judge_level, ask=_ask, show=_show,
    truth=lambda task: task.truth,
    label=lambda task: f"At which pressure does it open at the landmark, {WORDS[task.view.unit]}?",
    unit=lambda task: WORDS[task.view.unit], bounds=(-150.0, 150.0), measure="units",
    lead="Ten bedsides. Say at which pressure the drain opens, to half a unit; then see the sum, "
         "and which of five errors caught you. 1 cm of fluid is 1 cmH2O or 0.74 mmHg. Nothing is "
         "kept when you leave.")

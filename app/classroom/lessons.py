"""What a class can be asked: tasks from a seed, how they are asked, judged and shown."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from app.ui.lesson.sight_drawing import sight_drawing, value_text
from vision.drawing.svg import Drawing
from vision.hydrostatics.units import WORDS, both_units, number_text
from vision.lesson.level import (
    LEVEL_CAUSES,
    judge_level,
    level_tasks,
    level_threshold,
    wrong_thresholds,
)
from vision.lesson.level_drawing import before_drawing, now_drawing
from vision.lesson.parallax import eye_reading
from vision.lesson.rounds import PARALLAX_CAUSES, Verdict, chamber_tasks, judge_chamber
from vision.lesson.rounds import wrong_readings as wrong_volumes
from vision.synthetic.chamber.lesson_picture import framing_mm, trace


@dataclass(frozen=True)
class ClassLesson:
    """One kind of lesson; every function takes a task of ``plan``.

    ``picture`` is a JPEG or None, ``before`` a drawing to be asked with or None, ``after`` the
    drawing of the answer, ``why`` the answer in sentences.
    """

    title: str
    plan: Callable[[int, int], tuple[Any, ...]]
    judge: Callable[[float, Any], Verdict]
    causes: Mapping[str, str]
    measure: str
    question: Callable[[Any], str]
    sentences: Callable[[Any], tuple[str, ...]]
    truth: Callable[[Any], float]
    unit: Callable[[Any], str]
    division: Callable[[Any], float]
    wrong: Callable[[Any], Mapping[str, tuple[float, ...]]]
    picture: Callable[[Any], bytes | None]
    before: Callable[[Any], Drawing | None]
    after: Callable[[Any], Drawing]
    why: Callable[[Any], tuple[str, ...]]


_one_at_a_time = threading.Lock()


@lru_cache(maxsize=40)
def _traced(task: Any) -> bytes:
    return trace(task.view, task.fluid, task.look, framing_mm(task.look), samples=2)


def _chamber_picture(task: Any) -> bytes:
    # Sixty phones ask for one picture in one second; it is made once.
    with _one_at_a_time:
        return _traced(task)


def _chamber_why(task: Any) -> tuple[str, ...]:
    seen = eye_reading(task.view)
    return (f"The eye reads {value_text(seen.naive_value, seen)} at the middle of the surface, "
            f"{value_text(seen.rim_value, seen)} at the front edge and "
            f"{value_text(seen.back_value, seen)} through the back edge; true is "
            f"{value_text(seen.true_value, seen)} {seen.unit}.",)


def _level_why(task: Any) -> tuple[str, ...]:
    now = level_threshold(task.view)
    return (f"Pole {number_text(task.view.pole_cm)} cm less landmark "
            f"{number_text(task.view.landmark_rise_cm)} cm is an offset of "
            f"{number_text(now.offset_cm)} cm; it opens at {both_units(now.value_cm_h2o)}.",)


#: By the name that the database keeps.
LESSONS: Mapping[str, ClassLesson] = {
    "parallax": ClassLesson(
        "Read the chamber", chamber_tasks, judge_chamber, PARALLAX_CAUSES, "divisions",
        lambda task: "Which volume is in the chamber?", lambda task: (),
        lambda task: task.view.true_value, lambda task: task.view.scale.unit,
        lambda task: task.view.division, lambda task: wrong_volumes(task.view),
        _chamber_picture, lambda task: None, lambda task: sight_drawing(task.view), _chamber_why),
    "level": ClassLesson(
        "Say when the drain opens", level_tasks, judge_level, LEVEL_CAUSES, "units",
        lambda task: "At which pressure does it open at the landmark?",
        lambda task: task.sentences, lambda task: task.truth,
        lambda task: WORDS[task.view.unit], lambda task: 1.0,
        lambda task: wrong_thresholds(task.view), lambda task: None,
        lambda task: before_drawing(task.view),
        lambda task: now_drawing(task.view, level_threshold(task.view)), _level_why),
}


@lru_cache(maxsize=64)
def tasks_of(kind: str, seed: int, count: int) -> tuple[Any, ...]:
    """The tasks of a class: the same for everybody."""
    return LESSONS[kind].plan(seed, count)

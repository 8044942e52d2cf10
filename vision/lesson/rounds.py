"""Predict, then see: rounds of ten tasks, why an answer is wrong, and the score by cause.

Pure: tasks are numbers, not pictures.  Each task is laid out so that one cause of
error would show clearly; the answer is held against every cause all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.errors import InputError
from vision.lesson.parallax import EyeView, eye_reading, lesson_scale

TOO_HIGH, TOO_LOW = "eye too high", "eye too low"
MENISCUS_TOP = "meniscus top read"
LONG_MARK = "wrong long mark"
UNIT = "unit mixed up"
#: Causes of a wrong chamber reading, and what each means.
PARALLAX_CAUSES: dict[str, str] = {
    TOO_HIGH: "the eye stood above the level, and the mark in line with the middle of the "
              "surface was read",
    TOO_LOW: "the eye stood below the level, and the mark in line with the middle of the "
             "surface was read",
    MENISCUS_TOP: "the edge that climbs the wall was read instead of the lowest point",
    LONG_MARK: "counted from the printed number above or below the right one",
    UNIT: "every short mark was counted as 1 mL, though a division is not 1 mL here",
}
RIGHT, OTHER = "right", "another error"
TASKS_IN_A_ROUND = 10
#: An answer within half a division is right: people read to a third of one at best
#: (Batagelj et al., Elektrotehniski vestnik 2001;68:225).
RIGHT_DIVISIONS = 0.5
#: How near an answer has to be to what a cause would give, in divisions.
_NEAR_DIVISIONS = 0.75
_WATERS = ("pink", "straw", "clear", "red")


@dataclass(frozen=True)
class ChamberTask:
    """One picture to be read: what is seen, and the cause of error it is laid out for."""

    view: EyeView
    fluid: str
    trap: str
    look: int


@dataclass(frozen=True)
class Verdict:
    """What became of an answer: ``error`` in units of one division, and its likely cause.

    ``cause`` is "right", "another error" or one of the causes of the lesson.
    """

    trap: str
    error: float
    cause: str


@dataclass(frozen=True)
class CauseScore:
    """One line of the score: how many tasks tempted, how many were caught by it, and the
    mean signed error of those tasks (``bias``, None without a task)."""

    cause: str
    tasks: int
    caught: int
    bias: float | None


@dataclass(frozen=True)
class Score:
    """A round so far.  ``bias`` and ``mean_size`` are the mean of the signed errors and of
    their sizes, in divisions; None before the first answer."""

    answered: int
    right: int
    bias: float | None
    mean_size: float | None
    by_cause: tuple[CauseScore, ...]


def chamber_tasks(seed: int, count: int = TASKS_IN_A_ROUND) -> tuple[ChamberTask, ...]:
    """``count`` pictures, every cause as often as can be, in an order of the seed's own."""
    if seed < 0 or not 1 <= count <= 200:
        raise InputError("A set has 1 to 200 pictures and its seed is 0 or more.")
    rng = np.random.default_rng([7, seed])
    causes = list(PARALLAX_CAUSES)
    first = int(rng.integers(len(causes)))
    traps = [causes[(first + i) % len(causes)] for i in range(count)]
    order = rng.permutation(count)
    return tuple(_task(np.random.default_rng([7, seed, n]), traps[int(k)])
                 for n, k in enumerate(order))


def _task(rng: np.random.Generator, trap: str) -> ChamberTask:
    """One task in which the trap is worth more than a division."""

    def between(low: float, high: float, step: float) -> float:
        return float(round((low + (high - low) * rng.random()) / step) * step)

    while True:
        bore = between(20, 42, 2)
        scale = lesson_scale(bore)
        if trap == UNIT and scale.division_at(1.0) == 1.0:
            continue
        distance = between(250, 600, 10)
        # Steep enough to cost more than a division, and still a view that can be read.
        angle = {TOO_HIGH: between(6, 15, 0.5), TOO_LOW: -between(8, 18, 0.5)}.get(
            trap, between(-1.5, 1.5, 0.5))
        height = float(round(distance * np.tan(np.radians(angle))))
        contact = between(15, 40, 5) if trap == MENISCUS_TOP else between(60, 85, 5)
        share = 0.2 + 0.6 * rng.random()
        value = round(share * scale.capacity / scale.division_at(1.0), 1) * scale.division_at(1.0)
        view = EyeView(scale, value, height, distance, contact)
        wrong = wrong_readings(view).get(trap, ())
        # A trap that springs below a division would teach nothing; one that stands
        # beside the scale would give itself away.
        if not wrong or min(abs(w - value) for w in wrong) < 1.2 * view.division \
                or not all(scale.lowest_mark.value < w < scale.highest_mark.value for w in wrong):
            continue
        return ChamberTask(view, _WATERS[int(rng.integers(len(_WATERS)))], trap,
                           int(rng.integers(1, 2**20)))


def wrong_readings(view: EyeView) -> dict[str, tuple[float, ...]]:
    """What each cause of error would make of this view, in the scale's unit.

    A cause that cannot act here (level eye, flat meniscus, divisions of 1 mL) is absent.
    """
    seen, scale = eye_reading(view), view.scale
    numbers = [m.value for m in scale.marks if m.label]
    out: dict[str, tuple[float, ...]] = {}
    if seen.medium == "air" and view.eye_height_mm > 0:
        out[TOO_HIGH] = (seen.naive_value,)
    elif seen.medium == "liquid":
        out[TOO_LOW] = (seen.naive_value,)
    if seen.rise_mm > 0:
        out[MENISCUS_TOP] = (seen.rim_value,)
    if len(numbers) > 1:
        step = min(b - a for a, b in zip(numbers, numbers[1:], strict=False))
        out[LONG_MARK] = (view.true_value - step, view.true_value + step)
    below = [n for n in numbers if n <= view.true_value]
    if below and abs(view.division - 1.0) > 1e-9:
        out[UNIT] = (below[-1] + (view.true_value - below[-1]) / view.division,)
    return out


def judge(answer: float, truth: float, division: float,
          wrong: Mapping[str, Sequence[float]], trap: str = "") -> Verdict:
    """Hold an answer against the truth and against what each cause would give.

    Right within half a division; else the cause whose value is nearest, if it is
    nearer than 0.75 of a division; at a draw the cause that the task was laid out for.
    """
    error = (answer - truth) / division
    if abs(error) <= RIGHT_DIVISIONS + 1e-9:
        return Verdict(trap, error, RIGHT)
    near = [(abs(answer - value) / division - (1e-6 if cause == trap else 0.0), cause)
            for cause, values in wrong.items() for value in values]
    distance, cause = min(near, default=(np.inf, OTHER))
    return Verdict(trap, error, cause if distance <= _NEAR_DIVISIONS else OTHER)


def judge_chamber(answer: float, task: ChamberTask) -> Verdict:
    """The verdict on a reading of a chamber task."""
    return judge(answer, task.view.true_value, task.view.division, wrong_readings(task.view),
                 task.trap)


def score(verdicts: Iterable[Verdict], causes: Iterable[str]) -> Score:
    """The round so far, as a whole and by cause."""
    done = list(verdicts)
    errors = [v.error for v in done]
    lines = []
    for cause in causes:
        own = [v.error for v in done if v.trap == cause]
        lines.append(CauseScore(cause, len(own), sum(v.cause == cause for v in done),
                                float(np.mean(own)) if own else None))
    return Score(len(done), sum(v.cause == RIGHT for v in done),
                 float(np.mean(errors)) if errors else None,
                 float(np.mean(np.abs(errors))) if errors else None, tuple(lines))

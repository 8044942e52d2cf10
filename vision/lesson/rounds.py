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
from vision.scale_file.scale import Scale

TOO_HIGH, TOO_LOW = "eye too high", "eye too low"
FRONT_EDGE, BACK_EDGE = "read at the front edge", "read through the back edge"
LONG_MARK = "wrong long mark"
UNIT = "marks counted as 1 mL each"
#: Causes of a wrong chamber reading, and what each means.
PARALLAX_CAUSES: dict[str, str] = {
    TOO_HIGH: "the eye stood above the level, and the mark in line with the middle of the "
              "surface was read",
    TOO_LOW: "the eye stood below the level, and the mark in line with the middle of the "
             "surface was read",
    FRONT_EDGE: "the edge nearest to you was read; it climbs the wall and stands higher than the "
                "lowest point",
    BACK_EDGE: "the far edge was read; it climbs the wall, too, and is seen across the whole bore",
    LONG_MARK: "counted from the printed number above or below the right one",
    UNIT: "every mark was counted as 1 mL, but here the marks stand further or less far apart "
          "than 1 mL",
}
#: What tasks are laid out for; nobody reads the far edge from the height of the level.
_TRAPS = (TOO_HIGH, TOO_LOW, FRONT_EDGE, LONG_MARK, UNIT)
RIGHT, OTHER = "right", "another error"
TASKS_IN_A_ROUND = 10
#: An answer within half a division is right: people read to a third of one at best
#: (Batagelj et al., Elektrotehniski vestnik 2001;68:225).
RIGHT_DIVISIONS = 0.5
#: How much wider than "right" two readings stand apart in a task.
_CLEAR = 1.1
#: Far more draws than the rarest cause needs on a lesson's scale (one in five brings it).
_MOST_DRAWS = 400
#: How near an answer has to be to what a cause would give, in divisions.
_NEAR_DIVISIONS = 0.75
_WATERS = ("pink", "straw", "clear", "red")
#: Waters through which the lowest point can be seen from below.
_SEEN_THROUGH = ("pink", "straw", "clear")


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


def chamber_tasks(seed: int, count: int = TASKS_IN_A_ROUND, scale: Scale | None = None
                  ) -> tuple[ChamberTask, ...]:
    """``count`` pictures, every cause as often as can be, in an order of the seed's own.

    With a ``scale`` all are of that chamber, and causes that cannot show on it are left out;
    ``InputError`` where none can.
    """
    if seed < 0 or not 1 <= count <= 200:
        raise InputError("A set has 1 to 200 pictures and its seed is 0 or more.")
    rng = np.random.default_rng([7, seed])
    possible = _TRAPS if scale is None else tuple(
        t for t in _TRAPS if _task(np.random.default_rng([7, seed]), t, scale) is not None)
    if not possible:
        raise InputError("On this scale no error of reading would show: its divisions are too wide "
                         "for its bore, or it has too few marks.")
    first = int(rng.integers(len(possible)))
    traps = [possible[(first + i) % len(possible)] for i in range(count)]
    order = rng.permutation(count)
    out: list[ChamberTask] = []
    for n, k in enumerate(order):
        own, at = np.random.default_rng([7, seed, n]), possible.index(traps[int(k)])
        # What is rare on an own scale may not come in so many draws: then the next cause does.
        while (task := _task(own, possible[at % len(possible)], scale)) is None:
            at += 1
        out.append(task)
    return tuple(out)


def _task(rng: np.random.Generator, trap: str, own: Scale | None) -> ChamberTask | None:
    """One task in which the trap is worth more than a division and no edge reads right; None
    where so many draws on an own scale bring none."""

    def between(low: float, high: float, step: float) -> float:
        return float(round((low + (high - low) * rng.random()) / step) * step)

    for _ in range(_MOST_DRAWS):
        bore = between(20, 42, 2)
        scale = own or lesson_scale(bore)
        if trap == UNIT and own is None and scale.division_at(1.0) == 1.0:
            continue
        distance = between(250, 600, 10)
        # Steep enough to cost more than a division, and still a view that can be read.
        angle = {TOO_HIGH: between(6, 15, 0.5), TOO_LOW: -between(8, 18, 0.5)}.get(
            trap, between(-1.5, 1.5, 0.5))
        height = float(round(distance * np.tan(np.radians(angle))))
        contact = between(15, 45, 5)  # an edge that climbs: to read it is never right
        share = 0.2 + 0.6 * rng.random()
        division = scale.division_at(1.0 if own is None else share * scale.capacity)
        value = round(share * scale.capacity / division, 1) * division
        view = EyeView(scale, value, height, distance, contact)
        wrong = wrong_readings(view).get(trap, ())
        # A trap that springs below a division would teach nothing; one that stands
        # beside the scale would give itself away.
        if not wrong or min(abs(w - value) for w in wrong) < 1.2 * view.division \
                or not all(scale.lowest_mark.value < w < scale.highest_mark.value for w in wrong) \
                or not _told_apart(view, trap):
            continue
        waters = _WATERS if view.medium == "air" else _SEEN_THROUGH
        return ChamberTask(view, waters[int(rng.integers(len(waters)))], trap,
                           int(rng.integers(1, 2**20)))
    return None


def _told_apart(view: EyeView, trap: str) -> bool:
    """Edges, middle of the surface and truth stand more than half a division apart.

    From the height of the level the middle is the truth and the edges are one; there only
    the edge and the truth are compared.
    """
    seen = eye_reading(view)
    read = [view.true_value, seen.rim_value]
    if trap in (TOO_HIGH, TOO_LOW):
        read += [seen.naive_value, seen.back_value]
    read.sort()
    return bool(min(np.diff(read)) > RIGHT_DIVISIONS * view.division * _CLEAR)


def wrong_readings(view: EyeView) -> dict[str, tuple[float, ...]]:
    """What each cause of error would make of this view, in the scale's unit.

    A cause that cannot act here (level eye, flat meniscus, divisions of 1 mL) is absent, and
    so is a value within half a division of the true one: it would be right.
    """
    seen, scale = eye_reading(view), view.scale
    numbers = [m.value for m in scale.marks if m.label]
    out: dict[str, tuple[float, ...]] = {}
    if seen.medium == "air" and view.eye_height_mm > 0:
        out[TOO_HIGH] = (seen.naive_value,)
    elif seen.medium == "liquid":
        out[TOO_LOW] = (seen.naive_value,)
    if seen.rise_mm > 0:
        out[FRONT_EDGE] = (seen.rim_value,)
        out[BACK_EDGE] = (seen.back_value,)
    if len(numbers) > 1:
        step = min(b - a for a, b in zip(numbers, numbers[1:], strict=False))
        out[LONG_MARK] = (view.true_value - step, view.true_value + step)
    below = [n for n in numbers if n <= view.true_value]
    if below and abs(view.division - 1.0) > 1e-9:
        out[UNIT] = (below[-1] + (view.true_value - below[-1]) / view.division,)
    return only_wrong(out, view.true_value, view.division)


def only_wrong(wrong: Mapping[str, Sequence[float]], truth: float, division: float
               ) -> dict[str, tuple[float, ...]]:
    """Without the values that an answer could be right with."""
    kept = {cause: tuple(v for v in values if not _is_right(v, truth, division))
            for cause, values in wrong.items()}
    return {cause: values for cause, values in kept.items() if values}


def _is_right(answer: float, truth: float, division: float) -> bool:
    return abs(answer - truth) / division <= RIGHT_DIVISIONS + 1e-9


def judge(answer: float, truth: float, division: float,
          wrong: Mapping[str, Sequence[float]], trap: str = "") -> Verdict:
    """Hold an answer against the truth and against what each cause would give.

    Right within half a division; else the cause whose value is nearest, if it is
    nearer than 0.75 of a division; at a draw the cause that the task was laid out for.
    """
    error = (answer - truth) / division
    if _is_right(answer, truth, division):
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

"""Two looks at one chamber: a sight line is no point, two of them cross in one.

Pure formulas, in the vertical plane of :mod:`vision.lesson.parallax`.  All that lies along a
sight line is seen at the same mark: the front edge of the surface, its lowest point and its back
edge.  A second look from another height gives a second line, and what is meant lies where
they cross.  How well the crossing tells the height is plane geometry: two lines of slope m1 and
m2, each known to +- e, cross within +- e (abs(m1) + abs(m2)) / abs(m1 - m2) of the height (the
intersection error of photogrammetry, which grows as the angle between the rays gets small:
K. Kraus, *Photogrammetry*, 2007, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.lesson.parallax import EyeReading, EyeView, eye_reading, lesson_scale
from vision.lesson.rounds import Verdict, judge

FIRST, SECOND, MIDDLE = "the first look", "the second look", "the middle of both"
#: Ways to take two looks for an answer without crossing them, and what each means.
TWO_LOOKS_CAUSES: dict[str, str] = {
    FIRST: "what the first eye reads was taken as it is",
    SECOND: "what the second eye reads was taken as it is, because it is nearer to the level",
    MIDDLE: "the middle of both was taken; but two eyes on one side of the level err the same way",
}
#: What is read along a sight line is good to a tenth of a division.
READ_TO_DIVISIONS = 0.1
#: Heights of the eyes over the level, mm, by what the task is laid out for.
_HEIGHTS = {MIDDLE: ((100, 140), (30, 60)), FIRST: ((100, 140), (-70, -30)),
            SECOND: ((110, 140), (-15, -15))}


@dataclass(frozen=True)
class TwoLooks:
    """A chamber seen by an eye, and by a second one ``second_height_mm`` above the level;
    ``trap`` is the wrong way that the task is laid out for."""

    first: EyeView
    second_height_mm: float
    trap: str = ""

    @property
    def second(self) -> EyeView:
        """The second look: as the first, from its own height."""
        return replace(self.first, eye_height_mm=self.second_height_mm)


@dataclass(frozen=True)
class Crossing:
    """What two looks tell, apart and together.

    ``alone`` is the level (lowest and highest value) that the first look allows if the depth of
    what is seen is not known, ``both`` what the two allow.  ``slopes`` are the climbs of the sight
    lines inside the chamber, towards the eye.
    """

    first: EyeReading
    second: EyeReading
    slopes: tuple[float, float]
    alone: tuple[float, float]
    both: tuple[float, float]


def crossing(looks: TwoLooks) -> Crossing:
    """Cross the sight lines of two looks within the bore."""
    from scipy.spatial import HalfspaceIntersection

    view, scale = looks.first, looks.first.scale
    seen = eye_reading(view), eye_reading(looks.second)
    radius = view.bore_radius_mm
    slopes = tuple(r.path_mm[2][1] / r.path_mm[2][0] for r in seen)
    doubt = READ_TO_DIVISIONS * view.division / _value_per_mm(view)
    # rows (a, b, c): a depth + b height + c <= 0
    sides = [row for m in slopes for row in ((-m, 1.0, -doubt), (m, -1.0, -doubt))]
    sides += [(1.0, 0.0, -radius), (-1.0, 0.0, -radius)]
    corners = HalfspaceIntersection(np.array(sides), np.zeros(2)).intersections

    def values(reach_mm: float) -> tuple[float, float]:
        low, high = sorted(float(scale.value_at(view.level_mm + z)) for z in (-reach_mm, reach_mm))
        return low, high

    return Crossing(*seen, (slopes[0], slopes[1]), values(abs(slopes[0]) * radius + doubt),
                    values(float(np.abs(corners[:, 1]).max())))


def _value_per_mm(view: EyeView) -> float:
    step = np.array([-0.5, 0.5])
    return abs(float(np.diff(np.asarray(view.scale.value_at(view.level_mm + step)))[0]))


def two_looks_tasks(seed: int) -> tuple[TwoLooks, ...]:
    """Three tasks: on one side of the level, on both sides, from nearly one place."""
    rng = np.random.default_rng([8, seed])
    return tuple(_task(rng, trap) for trap in (MIDDLE, FIRST, SECOND))


def _task(rng: np.random.Generator, trap: str) -> TwoLooks:
    while True:
        scale = lesson_scale(2.0 * int(rng.integers(10, 20)))
        division = scale.division_at(1.0)
        value = round((0.25 + 0.5 * rng.random()) * scale.capacity / division, 1) * division
        side = 1.0 if rng.random() < 0.6 else -1.0
        first, second = (5.0 * round(rng.uniform(*reach) / 5.0) for reach in _HEIGHTS[trap])
        if trap == SECOND:  # told from the first: a step lower, from nearly the same place
            second += first
        looks = TwoLooks(EyeView(scale, value, side * first, 10.0 * int(rng.integers(28, 45))),
                         side * second, trap)
        wrong = wrong_answers(looks)
        errors = {cause: abs(w - value) / division for cause, w in wrong.items()}
        if errors[trap] > 1.2 and min(errors.values()) > 0.75 and all(
                scale.lowest_mark.value < w < scale.highest_mark.value for w in wrong.values()):
            return looks


def wrong_answers(looks: TwoLooks) -> dict[str, float]:
    """What each wrong way makes of two looks, in the scale's unit."""
    a, b = (eye_reading(v).naive_value for v in (looks.first, looks.second))
    return {FIRST: a, SECOND: b, MIDDLE: (a + b) / 2}


def judge_two_looks(answer: float, looks: TwoLooks) -> Verdict:
    """The verdict on an answer."""
    view = looks.first
    return judge(answer, view.true_value, view.division,
                 {cause: (value,) for cause, value in wrong_answers(looks).items()}, looks.trap)


def angle_between_deg(found: Crossing) -> float:
    """Angle at which the sight lines cross inside the chamber, degrees."""
    return abs(math.degrees(math.atan(found.slopes[0]) - math.atan(found.slopes[1])))

"""Two sight lines cross in the level; how well they tell it is plane geometry."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.lesson.parallax import EyeView, eye_reading, lesson_scale
from vision.lesson.rounds import RIGHT
from vision.lesson.two_looks import (
    FIRST,
    MIDDLE,
    READ_TO_DIVISIONS,
    SECOND,
    TwoLooks,
    angle_between_deg,
    crossing,
    judge_two_looks,
    two_looks_tasks,
    wrong_answers,
)

VIEW = EyeView(lesson_scale(30.0), 33.0, 120.0, 350.0)
MM_PER_ML = 1000 / (math.pi * 15**2)


def reach(second_mm: float, view: EyeView = VIEW) -> float:
    """Half of what both looks leave, in divisions."""
    low, high = crossing(TwoLooks(view, second_mm)).both
    return (high - low) / 2 / view.division


def test_the_lines_cross_in_the_lowest_point_by_an_independent_construction():
    # Two points of each line inside the chamber, joined by the two-point form of a line and
    # crossed by Cramer's rule; the points from the readings and the known depth of the wall.
    looks = TwoLooks(VIEW, 30.0)
    lines = []
    for view in (looks.first, looks.second):
        seen = eye_reading(view)
        (x1, y1), (x2, y2) = seen.path_mm[2], (0.0, 0.0)
        lines.append((y2 - y1, x1 - x2, (y2 - y1) * x1 + (x1 - x2) * y1))
    (a1, b1, c1), (a2, b2, c2) = lines
    det = a1 * b2 - a2 * b1
    assert ((c1 * b2 - c2 * b1) / det, (a1 * c2 - a2 * c1) / det) == pytest.approx((0, 0))
    assert angle_between_deg(crossing(looks)) == pytest.approx(
        abs(math.degrees(math.atan(a1 / b1) - math.atan(a2 / b2))))


def test_one_look_leaves_the_whole_depth_of_the_bore():
    found = crossing(TwoLooks(VIEW, 30.0))
    # From front to back edge a line of slope m climbs m times the bore: R m either way.
    m = math.tan(math.radians(found.first.elevation_deg))  # through the air
    half = (15.0 * m) / MM_PER_ML + READ_TO_DIVISIONS * VIEW.division
    assert found.alone == pytest.approx((33.0 - half, 33.0 + half), rel=2e-3)


def test_the_reach_of_both_is_the_intersection_error_of_two_rays():
    # e (|m1| + |m2|) / |m1 - m2|, with the slopes of the lines in air
    m1, m2 = (math.tan(math.radians(eye_reading(replace(VIEW, eye_height_mm=h)).elevation_deg))
              for h in (120.0, 40.0))
    expected = READ_TO_DIVISIONS * (m1 + m2) / (m1 - m2)
    assert reach(40.0) == pytest.approx(expected, rel=0.01)


def test_from_both_sides_two_looks_are_as_good_as_one_from_the_level():
    assert reach(-60.0) == pytest.approx(READ_TO_DIVISIONS, rel=1e-6)
    assert reach(0.0) == pytest.approx(READ_TO_DIVISIONS, rel=1e-6)


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(near=st.floats(10, 110), step=st.floats(2, 8))
def test_the_nearer_the_second_place_the_less_it_tells(near, step):
    assert reach(near + step) > reach(near)
    alone = crossing(TwoLooks(VIEW, near)).alone
    assert reach(near) <= (alone[1] - alone[0]) / 2 / VIEW.division + 1e-9
    both = crossing(TwoLooks(VIEW, near)).both
    assert both[0] < VIEW.true_value < both[1]


def test_the_same_place_again_tells_nothing():
    found = crossing(TwoLooks(VIEW, VIEW.eye_height_mm))
    assert found.both == pytest.approx(found.alone)


@pytest.mark.parametrize("seed", range(6))
def test_tasks_are_laid_out_for_each_wrong_way_once(seed):
    tasks = two_looks_tasks(seed)
    assert tasks == two_looks_tasks(seed)
    assert [t.trap for t in tasks] == [MIDDLE, FIRST, SECOND]
    same_side, across, near = tasks
    assert same_side.first.eye_height_mm * same_side.second_height_mm > 0
    assert across.first.eye_height_mm * across.second_height_mm < 0
    assert abs(near.first.eye_height_mm - near.second_height_mm) <= 20
    for t in tasks:
        division, truth = t.first.division, t.first.true_value
        wrong = wrong_answers(t)
        assert abs(wrong[t.trap] - truth) > 1.2 * division
        assert all(abs(w - truth) > 0.75 * division for w in wrong.values())
        assert judge_two_looks(truth, t).cause == RIGHT
        assert judge_two_looks(wrong[t.trap], t).cause == t.trap
    # two places that lie apart leave less than two that do not
    left = [np.ptp(crossing(t).both) / t.first.division for t in tasks]
    assert left[1] < left[0] < left[2]

"""Rounds of the parallax lesson: every cause has its turn, and a verdict is what it says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from vision.errors import InputError
from vision.lesson.parallax import EyeView, eye_reading, lesson_scale
from vision.lesson.rounds import (
    BACK_EDGE,
    FRONT_EDGE,
    LONG_MARK,
    OTHER,
    PARALLAX_CAUSES,
    RIGHT,
    TOO_HIGH,
    TOO_LOW,
    UNIT,
    Verdict,
    chamber_tasks,
    judge_chamber,
    score,
    wrong_readings,
)
from vision.synthetic.chamber.lesson import WATERS

SEED = 20
TRAPS = [TOO_HIGH, TOO_LOW, FRONT_EDGE, LONG_MARK, UNIT]


@pytest.mark.slow
def test_ten_tasks_hold_every_cause_twice_and_the_seed_decides():
    tasks = chamber_tasks(SEED)
    assert sorted(t.trap for t in tasks) == sorted(2 * TRAPS)
    assert chamber_tasks(SEED) == tasks
    others = [chamber_tasks(s) for s in range(30, 34)]
    assert len({t[0].view.true_value for t in others}) == 4, "another seed, other pictures"
    assert len({tuple(x.trap for x in t) for t in others}) == 4, "and another order"


@pytest.mark.parametrize("seed", range(3))
def test_every_trap_is_worth_more_than_a_division(seed):
    for task in chamber_tasks(seed, 10):
        v = task.view
        wrong = wrong_readings(v)[task.trap]
        assert min(abs(w - v.true_value) for w in wrong) >= 1.2 * v.division
        assert all(v.scale.lowest_mark.value < w < v.scale.highest_mark.value for w in wrong)


def read_at(view, target_mm, depth_mm):
    """Where a point behind the front wall is seen on the marks: Snell's law, solved by itself."""
    inside = 1.0 if view.eye_height_mm >= 0 else 1.333  # IAPWS R9-97

    def climbs(a):
        return (view.wall_mm * math.tan(math.asin(math.sin(a) / view.wall_index))
                + depth_mm * math.tan(math.asin(math.sin(a) / inside)))

    free = view.distance_mm - view.bore_radius_mm - view.wall_mm
    a = brentq(lambda a: free * math.tan(a) + climbs(a) - view.eye_height_mm + target_mm, -1.2, 1.2)
    return float(view.scale.value_at(view.level_mm + target_mm + climbs(a)))


@pytest.mark.slow
def test_no_task_of_500_rounds_is_passed_without_understanding():
    """The front edge is never right; off the level neither is the middle, nor the far edge."""
    judged = {TOO_HIGH: 0, TOO_LOW: 0}
    for task in (t for seed in range(500) for t in chamber_tasks(seed)):
        v, rise = task.view, eye_reading(task.view).rise_mm
        front = read_at(v, rise, 0.0)
        assert judge_chamber(front, task).cause != RIGHT, (task, front)
        assert v.eye_height_mm >= 0 or task.fluid != "red", "opaque: no lowest point from below"
        if task.trap in judged:
            middle, back = read_at(v, 0.0, v.bore_radius_mm), read_at(v, rise, 2 * v.bore_radius_mm)
            apart = np.diff(sorted([v.true_value, front, middle, back])) / v.division
            assert min(apart) > 0.5, (task, apart)
            named = [judge_chamber(value, task).cause for value in (front, middle, back)]
            assert named == [FRONT_EDGE, task.trap, BACK_EDGE]
            judged[task.trap] += 1
    assert judged == {TOO_HIGH: 1000, TOO_LOW: 1000}


def test_the_waters_that_are_asked_for_from_below_let_the_lowest_point_be_seen():
    # Beer, Lambert: what is left of green and blue after the widest bore's radius seen aslant.
    for name, water in WATERS.items():
        left = math.exp(-23.0 * max(water.absorption_per_mm))
        assert (left > 0.4) == (name != "red"), (name, left)


@pytest.mark.parametrize(("seed", "count"), [(-1, 10), (1, 0), (1, 201)])
def test_a_set_that_makes_no_sense_is_refused(seed, count):
    with pytest.raises(InputError):
        chamber_tasks(seed, count)


@pytest.mark.parametrize("seed", range(2))
def test_the_truth_is_right_and_each_trap_is_named(seed):
    for task in chamber_tasks(seed):
        truth = task.view.true_value
        assert judge_chamber(truth, task).cause == RIGHT
        assert judge_chamber(truth + 0.4 * task.view.division, task).cause == RIGHT
        for value in wrong_readings(task.view)[task.trap]:
            verdict = judge_chamber(value, task)
            assert verdict.cause == task.trap
            assert verdict.error == pytest.approx((value - truth) / task.view.division)


def test_wrong_readings_by_hand():
    scale = lesson_scale(36.0)  # divisions of 2 mL, numbers at every 10
    v = EyeView(scale, 46.0, 100.0, 400.0, 70.0)
    wrong = wrong_readings(v)
    assert wrong[LONG_MARK] == (36.0, 56.0)
    assert wrong[UNIT] == (43.0,), "40 and three marks, counted as 3 mL"
    assert wrong[TOO_HIGH] == (eye_reading(v).naive_value,) and TOO_LOW not in wrong
    assert 46.0 < wrong[TOO_HIGH][0] < wrong[BACK_EDGE][0]
    assert wrong[FRONT_EDGE] == (eye_reading(v).rim_value,)
    flatter = EyeView(scale, 46.0, 100.0, 400.0, 80.0)
    assert 46.5 < eye_reading(flatter).rim_value < 47.0, "within half a division: right"
    assert FRONT_EDGE not in wrong_readings(flatter)
    ones = wrong_readings(EyeView(lesson_scale(30.0), 33.0, -50.0, 400.0, 90.0))
    assert UNIT not in ones and FRONT_EDGE not in ones and TOO_HIGH not in ones
    assert ones[TOO_LOW][0] < 33.0


def test_an_answer_that_fits_no_cause_is_not_given_one():
    task = chamber_tasks(SEED)[0]
    far = task.view.true_value + 2.9 * task.view.division * (
        1 if all(abs(task.view.true_value + 2.9 * task.view.division - w) > task.view.division
                 for ws in wrong_readings(task.view).values() for w in ws) else -1)
    verdict = judge_chamber(far, task)
    nearest = min(abs(far - w) for ws in wrong_readings(task.view).values() for w in ws)
    assert (verdict.cause == OTHER) == (nearest > 0.75 * task.view.division)


def test_the_score_by_hand():
    verdicts = [Verdict(TOO_HIGH, 2.0, TOO_HIGH), Verdict(TOO_HIGH, 0.0, RIGHT),
                Verdict(TOO_LOW, -1.0, OTHER), Verdict(FRONT_EDGE, 2.0, TOO_HIGH)]
    result = score(verdicts, PARALLAX_CAUSES)
    assert (result.answered, result.right) == (4, 1)
    assert result.bias == pytest.approx(0.75) and result.mean_size == pytest.approx(1.25)
    lines = {line.cause: line for line in result.by_cause}
    assert lines[TOO_HIGH].tasks == 2 and lines[TOO_HIGH].bias == pytest.approx(1.0)
    assert lines[TOO_HIGH].caught == 2, "also the one that was laid out for another cause"
    assert lines[UNIT].tasks == 0 and lines[UNIT].bias is None


def test_no_answer_no_score():
    result = score([], PARALLAX_CAUSES)
    assert result.answered == 0 and result.bias is None and result.mean_size is None

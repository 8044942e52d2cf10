"""What the lengths of the marks tell of their numbering."""

from __future__ import annotations

import numpy as np
import pytest

from vision.graduations.shift_likelihood import _class_scores, most_alike

MARKS, PERIOD = 41, 5
IS_LONG = np.arange(MARKS) % PERIOD == 3


def score(left: np.ndarray, right: np.ndarray, shift: int) -> float:
    return float(_class_scores(np.arange(MARKS), np.ones(MARKS, bool), left, right, IS_LONG,
                               np.array([shift]))[0])


def beside(rows: np.ndarray) -> np.ndarray:
    """(L, 3) as dark as ink in these rows, with grain."""
    out = np.abs(np.random.default_rng(1).normal(0, 0.02, (MARKS, 3)))
    out[rows] += 1.0
    return out


@pytest.mark.parametrize("tall", [(-1, 1), (-1, 0, 1)])
def test_numbers_that_stand_beside_the_neighbours_of_their_mark_do_not_move_it(tall):
    """Long marks reach out to the right; numbers on the left are three marks tall."""
    rows = np.flatnonzero(IS_LONG)
    numbers = np.concatenate([rows + k for k in tall])
    left, right = beside(numbers[(numbers >= 0) & (numbers < MARKS)]), beside(rows)
    true = score(left, right, 0)
    assert true > 20.0
    for shift in (-4, -2, -1, 1, 2, 4):
        assert score(left, right, shift) < true - 20.0, shift


def test_long_marks_alone_are_told_on_either_side():
    rows, nothing = np.flatnonzero(IS_LONG), beside(np.zeros(0, int))
    assert score(beside(rows), nothing, 0) == pytest.approx(score(nothing, beside(rows), 0), abs=2)
    assert score(beside(rows), nothing, 0) > 20.0 > score(beside(rows), nothing, 1)


@pytest.mark.parametrize(("strength", "alike"), [
    ([], 0), ([30.0], 1), ([30.0, 32.0, 27.0, 29.0, 31.0, 28.0], 6),
    ([23.0, 32.0, 30.0, 100.0, 26.0, 61.0], 4),    # grain of a cap beyond one end of a scale
    ([10.0, 20.0, 40.0, 80.0], 1),
])
def test_marks_of_one_scale_are_as_dark_as_one_another(strength, alike):
    assert most_alike(np.array(strength)) == alike

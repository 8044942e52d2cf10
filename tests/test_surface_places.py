"""Competing places of the surface: the finder's belief, weighed by the gauge's close look."""

from __future__ import annotations

import numpy as np
import pytest

from vision.surface import SURE_BELIEF
from vision.surface_nets import CloseLook
from vision.surface_places import Place, weigh


def place(height_mm: float, belief: float, odds: float) -> Place:
    return Place(height_mm, belief, None, CloseLook(np.array([1.0]), odds))


def test_a_place_that_looks_right_closely_wins_over_one_that_the_finder_preferred():
    (first, at), (second, _) = weigh([place(20.0, 0.6, 0.02), place(23.0, 0.35, 300.0)], 0.02)
    assert at.height_mm == 23.0
    assert first > SURE_BELIEF > second


def test_two_places_that_look_alike_stay_two():
    (first, _), (second, _) = weigh([place(20.0, 0.5, 100.0), place(23.0, 0.45, 100.0)], 0.03)
    assert first < SURE_BELIEF and second > 0.3


def test_a_place_that_looks_wrong_closely_is_not_read_for_want_of_others():
    (only, _), = weigh([place(20.0, 0.99, 0.01)], 0.005)
    assert only < SURE_BELIEF


def test_belief_in_nothing_needs_clear_odds_to_be_overcome():
    (doubtful, _), = weigh([place(20.0, 0.2, 3.0)], 0.8)
    (clear, _), = weigh([place(20.0, 0.2, 400.0)], 0.8)
    assert doubtful < SURE_BELIEF < clear


@pytest.mark.parametrize("odds", [0.5, 20.0])
def test_beliefs_leave_room_for_what_nobody_thought_of(odds):
    beliefs = [b for b, _ in weigh([place(20.0, 0.7, odds), place(26.0, 0.3, odds)], 0.0)]
    assert 0.0 < sum(beliefs) < 1.0

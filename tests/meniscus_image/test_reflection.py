"""A line seen only where a mirrored light ends is no surface."""

from __future__ import annotations

import numpy as np
import pytest

from vision.meniscus_image import detect
from vision.meniscus_image.reflection import is_end_of_light
from vision.meniscus_image.views import WINDOW_COLUMNS, WINDOW_ROWS
from vision.volume.decide import NOT_READ

MIDDLE = WINDOW_ROWS // 2


def wall(*, streak: bool = True, across: float = 0.0, step: float = 0.0) -> np.ndarray:
    """A grey wall with rings every 4 mm and a little grain; two burnt-out streaks that end in the
    middle, a dark line there by ``across`` grey levels, a step down by ``step``."""
    close = np.full((WINDOW_ROWS, WINDOW_COLUMNS, 3), 190.0)
    for row in (MIDDLE - 60, MIDDLE - 40, MIDDLE - 34, MIDDLE + 30, MIDDLE + 34, MIDDLE + 54):
        close[row:row + 4] -= 40.0
    close[MIDDLE:] -= step
    close[MIDDLE:MIDDLE + 4] -= across
    close += np.random.default_rng(3).normal(0, 2, close.shape)
    if streak:
        close[:MIDDLE, 4:12] = close[:MIDDLE, 30:36] = 255.0
    return close


def test_the_end_of_two_streaks_alone_is_no_surface():
    assert is_end_of_light(wall())


@pytest.mark.parametrize("shown", [
    {"across": 40.0}, {"across": 60.0, "step": 20.0}, {"step": 45.0}])
def test_a_line_or_a_step_across_the_rest_of_the_wall_is_one(shown):
    assert not is_end_of_light(wall(**shown))


def test_without_a_streak_nothing_is_said():
    assert not is_end_of_light(wall(streak=False))


def test_a_streak_that_goes_on_below_says_nothing():
    close = wall()
    close[:, 4:12] = close[:, 30:36] = 255.0
    assert not is_end_of_light(close)


def test_where_hardly_any_wall_is_left_nothing_is_said():
    close = wall()
    close[:MIDDLE, 2:44] = 255.0
    assert not is_end_of_light(close)


def test_such_a_place_is_refused_with_what_to_do():
    one = detect.MeniscusPosterior(
        None, 30.0, np.zeros(1), np.ones(1), 0.0, 10.0, 1.0,
        (detect.RowPeak(30.0, 0.99),), 0.0, of_a_light=True)
    assert one.something_else and not one.stands
    told = [r for r in NOT_READ if "mirrored" in r.sentence]
    assert len(told) == 1 and "move the light or the phone" in told[0].sentence

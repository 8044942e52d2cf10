"""The interval of a level: 95 %, and with a stated depth more on a side where the truth may lie far off."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from vision.level.offset import _interval
from vision.parameters import FAR_OFF_MM


def drawn(sd_low_mm: float, sd_high_mm: float) -> np.ndarray:
    """(200001,) values whose lower and upper half are halves of a normal distribution."""
    z = norm.ppf((np.arange(200001) + 0.5) / 200001)
    return np.where(z < 0, sd_low_mm * z, sd_high_mm * z)


def test_a_narrow_interval_holds_95_percent():
    low, high = _interval(drawn(5.0, 5.0), with_depth=True)
    assert (low, high) == pytest.approx((-9.80, 9.80), abs=0.01)


@pytest.mark.parametrize("sd_mm", [7.2, 10.0, 25.0])
def test_hardly_any_draw_is_far_off_and_outside(sd_mm):
    draws = drawn(sd_mm, sd_mm)
    low, high = _interval(draws, with_depth=True)
    outside = (draws < low) | (draws > high)
    assert (outside & (np.abs(draws) > FAR_OFF_MM)).mean() <= 0.0101
    assert outside.mean() <= 0.0501


def test_only_the_side_that_is_far_off_is_wider():
    low, high = _interval(drawn(20.0, 4.0), with_depth=True)
    assert low == pytest.approx(-20.0 * 2.5758, abs=0.05)
    assert high == pytest.approx(4.0 * 1.9600, abs=0.01)


def test_with_both_cards_it_holds_95_percent_however_wide():
    low, high = _interval(drawn(20.0, 20.0), with_depth=False)
    assert (low, high) == pytest.approx((-39.2, 39.2), abs=0.05)

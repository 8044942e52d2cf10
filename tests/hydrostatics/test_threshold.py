"""Thresholds against sums done by hand and a Monte Carlo."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision import hydrostatics as h
from vision.budget import NORMAL_95
from vision.errors import InputError

CM, HG = h.CM_H2O_CODE, h.MM_HG_CODE


@pytest.mark.parametrize("setting, unit, offset_cm, cm_h2o, mm_hg", [
    # Sums by hand with 1 cm = 1.0006 cmH2O = 0.7360 mmHg.
    (10, CM, 0, 10.0, 7.4),
    (10, CM, -3, 7.0, 5.2),
    (10, CM, 3, 13.0, 9.6),
    (15, CM, -13.6, 1.4, 1.0),
    (10, HG, 0, 13.6, 10.0),
    (10, HG, -3, 10.6, 7.8),
    (0, CM, -2, -2.0, -1.5),
    (-5, CM, 2, -3.0, -2.2),
    (-5, HG, 0, -6.8, -5.0),
    (20, CM, 5, 25.0, 18.4),
])
def test_effective_threshold_table(setting, unit, offset_cm, cm_h2o, mm_hg):
    t = h.effective_threshold(setting, unit, offset_cm)
    assert t.value_cm_h2o == pytest.approx(cm_h2o, abs=0.06)
    assert h.convert(t.value_cm_h2o, CM, HG) == pytest.approx(mm_hg, abs=0.06)
    assert t.interval_cm_h2o is None, "an unknown uncertainty is not a small one"


def test_direction_words():
    assert "drains more than ordered" in h.effective_threshold(10, CM, -3).sentence
    assert "drains less than ordered" in h.effective_threshold(10, CM, 3).sentence
    assert h.effective_threshold(10, CM, 0).direction == "level"
    either = h.effective_threshold(10, CM, 0.1, offset_interval_cm=(-0.5, 0.7))
    assert either.direction == "either way"
    assert "0.5 cm too low and 0.7 cm too high" in either.sentence


def test_interval_against_a_monte_carlo():
    """JCGM 101:2008: draw the inputs and look at the middle 95 %."""
    rng = np.random.default_rng(20250114)
    n = 200_000
    t = h.effective_threshold(10, HG, -3, offset_interval_cm=(-4.2, -1.8), setting_sd_cm=0.3)
    offset = rng.normal(-3, 1.2 / NORMAL_95, n)
    setting = rng.normal(13.5951, 0.3, n)
    density = rng.uniform(1000.59 - 4.87, 1000.59 + 4.87, n) + rng.normal(0, 0.2, n)
    gravity = rng.uniform(9.80665 - 0.026, 9.80665 + 0.026, n)
    drawn = density * gravity * (setting + offset) / 100 / 98.0665
    assert t.interval_cm_h2o == pytest.approx(np.percentile(drawn, [2.5, 97.5]), abs=0.02)
    combined = sum(b.standard_uncertainty**2 for b in t.budget)
    assert combined == pytest.approx(np.var(drawn), rel=0.02)


def test_the_two_halves_of_an_interval_may_differ():
    t = h.effective_threshold(10, CM, -3, offset_interval_cm=(-5, -2.5))
    low, high = t.interval_cm_h2o
    assert t.value_cm_h2o - low == pytest.approx(2.0, abs=0.02)
    assert high - t.value_cm_h2o == pytest.approx(0.5, abs=0.02)


@given(st.floats(-15, 25), st.floats(-30, 30), st.sampled_from([CM, HG]))
def test_reverse_sum_undoes_the_threshold(ordered, offset_cm, unit):
    back = h.setting_for_threshold(ordered, unit, offset_cm)
    t = h.effective_threshold(back.setting_cm_h2o, CM, offset_cm)
    assert t.value_cm_h2o == pytest.approx(h.convert(ordered, unit, CM), abs=1e-9)


def test_reverse_sum_is_no_advice():
    sentence = h.setting_for_threshold(15, CM, -3).sentence
    assert "18.0 cmH2O" in sentence and "Sum only" in sentence and "on order only" in sentence


@pytest.mark.parametrize("setting, unit, offset_cm, interval", [
    (math.nan, CM, 0, None), (10, CM, math.inf, None), (500, CM, 0, None), (10, "cm", 0, None),
    (10, CM, -3, (-2, -1)), (10, CM, -3, (-1, -4)), (10, CM, 1000, None),
])
def test_impossible_input_gets_one_sentence(setting, unit, offset_cm, interval):
    with pytest.raises(InputError) as caught:
        h.effective_threshold(setting, unit, offset_cm, offset_interval_cm=interval)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 160

"""The projective map of a straight row, against closed forms and a burette photographed steeply."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_ladders import projective
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.graduations.projective_row import (
    fit_1d,
    fit_rows,
    project_1d,
    project_rows,
    slope_1d,
    slope_rows,
)

# Marks of a burette photographed steeply: value in mL and row in px of the underline of
# its numeral, each to 2 px.  Taken from a photo by "Gemsgy", CC BY-SA 4.0 (File:Burette with
# Clamp(3).jpg, Wikimedia Commons); rows as measured by a person in that picture.
BURETTE_ML = np.array([26, 27, 28, 29, 30, 42, 43, 44, 45, 46, 47, 48, 49, 50], float)
BURETTE_PX = np.array([132, 333, 530, 722, 910, 2901, 3051, 3198, 3342, 3486, 3626, 3765, 3901,
                       4037], float)


@settings(max_examples=60, deadline=None)
@given(bottom=st.floats(300, 900), top=st.floats(0, 200), bend=st.floats(-0.004, 0.008))
def test_exact_points_against_the_closed_form(bottom, top, bend):
    z = np.linspace(0, 85, 40)
    t = projective(z, top, bottom, 85.0, bend)
    abc, residual = fit_1d(z, t)
    assert np.abs(residual).max() < 0.02 * (bottom - top) / 40
    assert project_1d(abc, np.array([42.5]))[0] == pytest.approx(
        float(projective(np.array([42.5]), top, bottom, 85.0, bend)[0]), abs=0.15)


@settings(max_examples=30, deadline=None)
@given(bend=st.floats(-0.004, 0.008), z=st.floats(0, 85))
def test_slope_is_the_derivative(bend, z):
    abc = np.array([-9.0, 800.0, bend])
    h = 1e-4
    above, below = project_1d(abc, np.array([z + h])), project_1d(abc, np.array([z - h]))
    numeric = (above - below) / (2 * h)
    assert slope_1d(abc, np.array([z]))[0] == pytest.approx(numeric[0], rel=1e-5)


def test_a_straight_row_stays_straight():
    z = np.linspace(0, 60, 20)
    abc, residual = fit_1d(z, 500 - 7.0 * z)
    assert np.abs(residual).max() < 1e-6
    assert abc[2] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_a_fifth_of_wild_strokes_hardly_moves_it(seed):
    rng = np.random.default_rng(seed)
    z = np.linspace(0, 85, 60)
    t = projective(z, 50, 900, 85.0, 0.003)
    seen = t + rng.normal(0, 0.3, 60)
    wild = rng.choice(60, 12, replace=False)
    seen[wild] += rng.uniform(-60, 60, 12)
    abc, _ = fit_1d(z, seen)
    assert np.abs(project_1d(abc, z) - t).max() < 1.0  # a pitch is 14 px


def test_a_real_ladder_needs_the_projective_map():
    """Fourteen labels of a real burette seen steeply.

    The figures (0.017 mL RMS and 0.034 mL at worst for the projective map, up to
    0.55 mL for a straight line) were worked out apart from this software, by
    plain least squares; the rows themselves are good to 2 px, 0.01 mL.
    """
    abc, residual = fit_1d(BURETTE_ML, BURETTE_PX)
    in_ml = residual / np.abs(slope_1d(abc, BURETTE_ML))
    assert np.sqrt(np.mean(in_ml**2)) == pytest.approx(0.017, abs=0.004)
    assert np.abs(in_ml).max() < 0.045
    line = np.polyfit(BURETTE_PX, BURETTE_ML, 1)
    straight = np.abs(np.polyval(line, BURETTE_PX) - BURETTE_ML)
    assert straight.max() == pytest.approx(0.55, abs=0.1)


@pytest.mark.filterwarnings("error")
def test_points_of_no_row_stay_finite():
    """The last lies so far off that the best map passes through infinity there."""
    z = np.array([-0.75, -0.5, -0.25, 0.0, 0.25, 1.25])
    abc, _ = fit_1d(z, np.array([0.13, -0.13, 0.64, 0.1, -0.54, 18.08]))
    assert np.isfinite(abc).all()


def test_several_rows_at_once_are_fitted_as_each_alone():
    rng = np.random.default_rng(4)
    z = np.sort(rng.uniform(0, 85, (6, 30)), axis=1)
    t = np.stack([projective(one, 50, 600, 85.0, bend) for one, bend in zip(
        z, rng.uniform(-0.003, 0.006, 6), strict=True)]) + rng.normal(0, 0.4, z.shape)
    t[:, 7] += 40.0  # one stroke is none of theirs
    there = rng.random(z.shape) < 0.8
    maps = fit_rows(z, t, there)
    for k in range(6):
        alone, residual = fit_1d(z[k, there[k]], t[k, there[k]])
        assert project_1d(maps[k], z[k]) == pytest.approx(project_1d(alone, z[k]), abs=1e-8)
        assert (t - project_rows(maps, z))[k, there[k]] == pytest.approx(residual, abs=1e-8)
        assert slope_rows(maps, z)[k] == pytest.approx(slope_1d(alone, z[k]), abs=1e-8)

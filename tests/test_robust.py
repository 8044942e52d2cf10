"""Our robust fits against the libraries that do the same for a spread that is given."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import median_abs_deviation
from skimage.measure import LineModelND, ransac

from vision.robust import fit_linear, median, median_along, medians_among, spread


def line_with_wild_points(seed: int = 4, n: int = 120) -> tuple[np.ndarray, np.ndarray]:
    """Points of y = 3 + 0.5 t with noise 0.2, a fifth of them up to 20 off."""
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(-10, 10, n))
    y = 3 + 0.5 * t + rng.normal(0, 0.2, n)
    wild = rng.choice(n, n // 5, replace=False)
    y[wild] += rng.uniform(2, 20, len(wild))
    return np.column_stack([np.ones(n), t]), y


def geman_mcclure(z: np.ndarray) -> np.ndarray:
    """(3, N) loss of z = r^2 and its first two derivatives, as SciPy wants them."""
    return np.array([z / (1 + z), 1 / (1 + z) ** 2, -2 / (1 + z) ** 3])


@pytest.mark.parametrize("loss, theirs", [("cauchy", "cauchy"), ("geman-mcclure", geman_mcclure)])
@pytest.mark.parametrize("weighted", [False, True])
def test_fit_is_that_of_scipy_for_the_same_spread(loss, theirs, weighted):
    """At the spread found, least_squares with that loss has its minimum at the same place."""
    design, y = line_with_wild_points()
    sd = np.linspace(0.5, 2.0, len(y)) if weighted else np.ones(len(y))
    design, y = design / sd[:, None], y / sd
    ours = fit_linear(design, y, turn=2.5, least_spread=0.01, rounds=80, loss=loss)
    there = least_squares(lambda p: design @ p - y, [2.0, 0.4], loss=theirs,
                          f_scale=2.5 * ours.spread, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert ours.parameters == pytest.approx(there.x, abs=1e-6)


def test_wild_points_do_not_pull():
    """Beside it: cv2.fitLine with Huber's distance and RANSAC of scikit-image agree."""
    design, y = line_with_wild_points()
    ours = fit_linear(design, y, turn=2.5, least_spread=0.01, rounds=20)
    assert ours.parameters == pytest.approx([3.0, 0.5], abs=0.1)
    points = np.column_stack([design[:, 1], y])
    vx, vy, x0, y0 = cv2.fitLine(points.astype(np.float32), cv2.DIST_HUBER, 0, 1e-4, 1e-4).ravel()
    model, inliers = ransac(points, LineModelND, 2, 0.6, max_trials=200, rng=1)
    at, along = model.origin, model.direction
    for slope, height in ((vy / vx, y0 - x0 * vy / vx),
                          (along[1] / along[0], at[1] - at[0] * along[1] / along[0])):
        assert ours.parameters == pytest.approx([height, slope], abs=0.3)
    assert np.mean((ours.trust > 0.25) == inliers) > 0.95


def test_each_row_counts_as_often_as_its_weight_says():
    """Cook-book check: a row of weight 2 is the row twice (the median is of the rows: clean)."""
    t = np.linspace(0, 1, 9)
    design, y = np.column_stack([np.ones(9), t]), np.sin(3 * t)
    weight = np.r_[np.ones(4), 2.0, np.ones(4)]
    once = fit_linear(design, y, turn=1e9, least_spread=0.1, rounds=1, weight=weight)
    twice = fit_linear(np.vstack([design, design[4]]), np.append(y, y[4]), turn=1e9,
                       least_spread=0.1, rounds=1)
    assert once.parameters == pytest.approx(twice.parameters)


def test_pull_is_an_observation_of_zero():
    design, y = np.ones((4, 1)), np.full(4, 5.0)
    fit = fit_linear(design, y, turn=1e9, least_spread=0.1, rounds=1, pull=(2.0,))
    assert fit.parameters[0] == pytest.approx(4 * 5.0 / (4 + 2.0**2))


def test_spread_is_scipys_about_zero():
    x = np.random.default_rng(2).normal(0, 3, (50, 7))
    for column, ours in zip(x.T, spread(x, axis=0), strict=True):
        theirs = median_abs_deviation(column, scale="normal", center=lambda values, axis: 0.0)
        assert ours == pytest.approx(theirs, rel=2e-6)


def test_median_is_numpys_to_the_last_bit():
    rng = np.random.default_rng(3)
    for n in range(1, 40):
        x = rng.normal(0, 3, n)
        assert median(x) == np.median(x)
    assert np.isnan(median(np.array([1.0, np.nan, 2.0])))


@pytest.mark.parametrize("dtype", [np.float64, np.float32])
def test_median_along_an_axis_is_numpys_to_the_last_bit(dtype):
    rng = np.random.default_rng(4)
    for n in range(1, 12):
        x = rng.normal(0, 3, (n, 5)).astype(dtype)
        for axis in (0, 1, -1):
            ours = median_along(x, axis)
            np.testing.assert_array_equal(ours, np.median(x, axis=axis))
            assert ours.dtype == dtype
    x = rng.normal(0, 3, (6, 5))
    x[2, 3] = np.nan
    np.testing.assert_array_equal(median_along(x, 0), np.median(x, axis=0))


def test_medians_among_are_numpys_of_what_is_picked():
    rng = np.random.default_rng(8)
    values, among = rng.normal(size=(9, 4)), rng.random((30, 9)) < 0.5
    among[0], among[1] = False, True
    found = medians_among(values, among)
    assert np.isnan(found[0]).all()
    for k in range(1, len(among)):
        assert np.array_equal(found[k], np.median(values[among[k]], axis=0))
    each = rng.normal(size=(30, 9, 4))
    assert np.array_equal(medians_among(each, among)[1], np.median(each[1], axis=0))

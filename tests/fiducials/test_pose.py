"""The refinement of a card's pose against a library that minimises the same sum."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from vision.fiducials.cards import CardSeen, card_corners_mm, zero_card
from vision.fiducials.pose import _project, camera_matrix, card_poses, turned

CAMERA = camera_matrix(1500.0, 1500, 2000)


@pytest.mark.parametrize("seed", range(6))
def test_the_best_pose_is_where_scipy_finds_the_least_squares(seed):
    """From the same true pose, with corners off by 0.05 px and correlated doubts of them."""
    rng = np.random.default_rng(seed)
    rotation = turned(np.diag([1.0, -1, -1]), rng.normal(0, 0.4, 3))
    centre = np.array([*rng.uniform(-200, 200, 2), rng.uniform(500, 1500)])
    corners = card_corners_mm(60.0)
    pixels = _project(rotation, centre, corners, CAMERA)[0] + rng.normal(0, 0.05, (4, 2))
    mix = rng.normal(0, 1, (8, 8))
    covariance = 0.05**2 * (np.eye(8) + 0.1 * mix @ mix.T)
    seen = CardSeen(0, pixels, covariance, 0.0, 100, 0.02)
    whiten = np.linalg.cholesky(np.linalg.inv(covariance)).T

    def residual(d: np.ndarray) -> np.ndarray:
        got, _ = _project(turned(rotation, d[:3]), centre + d[3:], corners, CAMERA)
        return whiten @ (got - pixels).ravel()

    theirs = least_squares(residual, np.zeros(6), x_scale=[0.01] * 3 + [1.0] * 3, xtol=1e-12,
                           ftol=1e-12, gtol=1e-12)
    ours = card_poses(seen, zero_card(60.0), CAMERA)[0]
    assert ours.misfit == pytest.approx(2 * theirs.cost, rel=1e-5, abs=1e-6)
    sd = np.sqrt(np.diag(ours.covariance))[3:]
    assert np.abs(ours.centre_mm - centre - theirs.x[3:]).max() < 0.02 * sd.max()

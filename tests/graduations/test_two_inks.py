"""Print that is dark above a dark liquid and lighter than the liquid below its surface."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_ladders import camera_towards, paint_tube, printed, wall_point

from vision.graduations.fit import fit_graduations
from vision.graduations.two_inks import _break_mm, in_two_inks
from vision.parameters import CLEAR_RESIDUAL
from vision.scale_file.scale import load_scale

SIZE, FOCAL = (480, 720), 800.0
ELEVATION_DEG = 10.0


def half_in_dark(turned_mm: float):
    """A tube whose print below a height is lighter than what is behind it; its camera."""
    scale = load_scale("quay-60")
    camera = camera_towards(ELEVATION_DEG, 130.0, (0, 0, 42.0), roll_deg=2.0, aim_deg=(1.0, 1.0),
                            focal_px=FOCAL, size=SIZE)
    picture = paint_tube(camera, SIZE, scale.outer_radius_mm, printed(scale))
    at = camera.project(wall_point(np.zeros(1), np.array([turned_mm]), scale.outer_radius_mm))[0]
    dark = 40.0 + 0.45 * (picture.max() - picture)  # ink shines a little, the liquid hardly
    picture = np.where(np.arange(SIZE[1])[:, None] > at[1], dark, picture)
    grain = np.random.default_rng(5).normal(0, 1.5, picture.shape)
    return (picture + grain).astype(np.float32), scale, camera


def wrong_mm(fit, camera) -> float:
    """How far, at most, the pose has the marks from where they are."""
    z = fit.height_mm
    _, found = fit.pose.wall_coordinates(camera.project(
        wall_point(np.zeros(len(z)), z, fit.pose.radius_at_mm(z))))
    return float(np.abs(found - z).max())


@pytest.mark.slow
@pytest.mark.parametrize("share", [0.25, 0.43, 0.55])
def test_light_print_before_a_dark_liquid_is_measured_where_it_is(share):
    scale = load_scale("quay-60")
    ends = scale.lowest_mark.height_mm, scale.highest_mark.height_mm
    picture, scale, camera = half_in_dark(ends[0] + share * (ends[1] - ends[0]) + 0.3)
    plain = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
    assert plain is not None
    fit = in_two_inks(plain)
    # the gaps between the light marks had been taken for marks
    assert plain.relative_residual > CLEAR_RESIDUAL and wrong_mm(plain, camera) > 0.5
    assert "light and dark" in fit.strategy
    assert wrong_mm(fit, camera) < 0.25
    surface = np.array(42.0)
    assert np.degrees(float(fit.pose.elevation_rad(surface))) == pytest.approx(
        ELEVATION_DEG, abs=1.5)


@pytest.mark.slow
def test_a_row_in_place_stays_as_it_is():
    scale = load_scale("quay-60")
    picture, scale, _ = half_in_dark(scale.lowest_mark.height_mm - 20.0)
    plain = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
    assert plain is not None and in_two_inks(plain) is plain


def test_gaps_are_not_marks():
    """Wholly in the negative the gaps are as even a row as the marks, but wider."""
    scale = load_scale("quay-60")
    picture, scale, _ = half_in_dark(scale.lowest_mark.height_mm - 20.0)
    marks = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
    gaps = fit_graduations(255.0 - picture, scale, focal=(FOCAL, 0.02))
    assert marks is not None and marks.is_of_marks
    assert gaps is None or not gaps.is_of_marks


@pytest.mark.filterwarnings("error")
def test_a_view_with_no_mark_in_the_picture_is_looked_at_without_a_word():
    scale = load_scale("quay-60")
    picture, scale, _ = half_in_dark(scale.lowest_mark.height_mm - 20.0)
    fit = fit_graduations(picture, scale, focal=(FOCAL, 0.02))
    assert fit is not None
    away = fit.pose.params.copy()
    away[1] += 500.0  # half a metre too high: all marks lie beside the picture
    assert np.isfinite(_break_mm(fit, fit.pose.with_params(away), upper=True))

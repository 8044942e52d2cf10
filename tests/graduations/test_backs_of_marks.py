"""Marks that run right round a clear tube, of which the backs are seen as well."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from drawn_ladders import PinholeCamera, camera_towards, paint_tube, printed, wall_point
from numbered_rings import FOCAL, PX_MM, SIZE, lettered

from vision.graduations.backs_of_marks import backs_show, seen_behind_mm
from vision.graduations.cylinder_pose import CylinderPose
from vision.graduations.fit import GraduationFit, fit_graduations, from_all_elevations
from vision.graduations.numeral_evidence import check_numerals
from vision.graduations.rings_wiped import wiped
from vision.graduations.unrolled_samples import sample
from vision.graduations.wall import points_seen
from vision.parameters import CLEAR_RESIDUAL
from vision.scale_file.scale import parse_scale

#: Rings so close together that those above and below a number run through its ends.
SCALE = parse_scale({
    "name": "close rings", "unit": "mL", "inner_diameter_mm": 26.596, "wall_mm": 1.5,
    "capacity": 40,
    "height_mm": [[0, 0.0], [40, 72.0]],
    "marks": [{"from": 0, "to": 40, "step": 1, "length": "short"},
              {"from": 0, "to": 40, "step": 5, "length": "long", "label": True}]})
MIDDLE_MM = 36.0
ALL_ROUND = (-np.pi, np.pi)
RINGS = printed(SCALE, short=ALL_ROUND, long=ALL_ROUND, thick_mm=0.25)
BACKS = printed(SCALE, short=ALL_ROUND, long=ALL_ROUND, thick_mm=0.25, ink=90.0)


def behind(eye_mm: np.ndarray, front_mm: np.ndarray, index: float) -> np.ndarray:
    """(N, 3) points of the back wall that are seen at points (N, 3) of the front one.

    Law of refraction in vectors: E. Hecht, Optics, 5th edition, 2017, section 4.4.
    """
    ray = front_mm - eye_mm
    ray = ray / np.linalg.norm(ray, axis=1, keepdims=True)
    normal = front_mm * [1.0, 1.0, 0.0]
    normal = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    cosine = -(ray * normal).sum(axis=1, keepdims=True)
    inside = np.sqrt(1 - (1 - cosine**2) / index**2)
    bent = ray / index + (cosine / index - inside) * normal
    # from the circle to the circle again: t = -2 p.d / d.d in the plane square to the axis
    along = bent[:, :2]
    t = -2 * (front_mm[:, :2] * along).sum(axis=1) / (along * along).sum(axis=1)
    return np.asarray(front_mm + t[:, None] * bent)


def pose_of(camera: PinholeCamera, radius_mm: float) -> CylinderPose:
    """The reader's own pose of a camera in the plane X = 0; only where it stands matters here."""
    return CylinderPose(np.array([-camera.centre_mm[1], camera.centre_mm[2], 0, 0, 0, 7.0]),
                        np.zeros((6, 6)), radius_mm, (240.0, 450.0), 0.0)


@pytest.mark.parametrize("elevation_deg", [-20.0, -3.0, 0.0, 8.0, 25.0])
@pytest.mark.parametrize("index", [1.0, 1.333])
def test_what_is_seen_through_the_tube_is_where_the_law_of_refraction_has_it(elevation_deg, index):
    radius = SCALE.outer_radius_mm
    camera = camera_towards(elevation_deg, 230.0, (0, 0, MIDDLE_MM))
    azimuth, height = np.radians([-60.0, -20.0, 0.0, 35.0]), np.array([0.0, 30.0, 80.0])
    front = wall_point(azimuth[None], height[:, None], radius)
    expected = behind(camera.centre_mm, front, index)
    assert np.allclose(np.hypot(expected[:, 0], expected[:, 1]), radius)
    found = seen_behind_mm(pose_of(camera, radius), azimuth, height[:, None], index)
    assert found.ravel() == pytest.approx(expected[:, 2], abs=1e-9)


def test_a_back_that_falls_together_with_its_own_front_hides_nothing():
    height = np.array([m.height_mm for m in SCALE.marks])
    gap = np.full(len(height), np.diff(height)[0])
    azimuth = np.radians(np.arange(-60.0, 61.0, 5.0))
    level = pose_of(camera_towards(0.0, 1e6, (0, 0, MIDDLE_MM)), SCALE.outer_radius_mm)
    assert not backs_show(level, azimuth, height, gap, height).any()
    # beyond the ends there is no front that a back could fall together with
    above = pose_of(camera_towards(25.0, 230.0, (0, 0, MIDDLE_MM)), SCALE.outer_radius_mm)
    beyond = height.max() + gap[:4] * np.arange(1, 5)
    assert backs_show(above, azimuth, beyond, gap[:4], height).any()


def clear_tube(elevation_deg: float, index: float) -> np.ndarray:
    """(H, W) a clear tube with rings all round and numbers in them, its backs seen through it."""
    camera = camera_towards(elevation_deg, 230.0, (0, 0, MIDDLE_MM), focal_px=FOCAL,
                            size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, _colour(camera, index))
    noise = np.random.default_rng(3).normal(0, 2.0, grey.shape)
    return np.asarray(grey + noise, dtype=np.float32)


def _colour(camera: PinholeCamera, index: float) -> Callable[..., np.ndarray]:
    numbers = {m.height_mm: lettered(m.text, 3.4) for m in SCALE.marks if m.label}

    def colour(azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        front = wall_point(azimuth, height, SCALE.outer_radius_mm)
        back = behind(camera.centre_mm, front, index)
        dark = BACKS(np.arctan2(back[:, 0], -back[:, 1]), back[:, 2]).reshape(height.shape)
        plain = RINGS(azimuth, height)
        for z, cover in numbers.items():
            across = (azimuth + np.radians(20.0)) * SCALE.outer_radius_mm
            up, wide = height - z, cover.shape[1] / PX_MM
            plain[(across > -0.5) & (across < wide + 0.5) & (np.abs(up) < 0.5)] = 205.0
            inside = (across >= 0) & (across < wide) & (np.abs(up) < 1.7)
            row = np.clip(((1.7 - up[inside]) * PX_MM).astype(int), 0, cover.shape[0] - 1)
            column = np.clip((across[inside] * PX_MM).astype(int), 0, cover.shape[1] - 1)
            plain[inside] = np.minimum(plain[inside], 205.0 - 155.0 * cover[row, column])
        return np.minimum(plain, dark)

    return colour


@lru_cache(maxsize=8)
def fitted(elevation_deg: float, index: float) -> GraduationFit:
    fit = fit_graduations(clear_tube(elevation_deg, index), SCALE, focal=(FOCAL, 0.02))
    assert fit is not None
    return from_all_elevations(fit)


VIEWS = [(-18.0, 1.333), (-9.0, 1.0), (-4.0, 1.333), (2.0, 1.0), (5.0, 1.333), (8.0, 1.0),
         (14.0, 1.333), (22.0, 1.0)]


@pytest.mark.slow
@pytest.mark.parametrize(("elevation_deg", "index"), VIEWS)
def test_the_fronts_are_told_from_the_backs(elevation_deg, index):
    fit = fitted(elevation_deg, index)
    assert fit.samples.backs is not None
    assert fit.relative_residual < CLEAR_RESIDUAL and fit.seen.all()
    found_deg = float(np.degrees(fit.pose.elevation_rad(MIDDLE_MM)))
    assert found_deg == pytest.approx(elevation_deg, abs=0.5)
    camera = camera_towards(elevation_deg, 230.0, (0, 0, MIDDLE_MM), focal_px=FOCAL,
                            size=SIZE)
    ends = wall_point(np.zeros(2), fit.height_mm[[0, -1]], SCALE.outer_radius_mm)
    off = fit.pose.project(ends) - camera.project(ends)
    assert np.abs(off).max() < 0.15 * fit.pitch_px


@pytest.mark.slow
@pytest.mark.parametrize(("elevation_deg", "index"), VIEWS)
def test_numbers_among_fronts_and_backs_are_read(elevation_deg, index):
    assert check_numerals(fitted(elevation_deg, index)).verdict == "agree"


@pytest.mark.slow
def test_a_wiped_wall_shows_only_the_rings_that_have_a_number():
    fit = fitted(8.0, 1.0)
    picture = wiped(fit)
    azimuth = np.radians(np.arange(20.0, 50.0, 2.0))

    def darkest(grey: np.ndarray, heights: np.ndarray) -> np.ndarray:
        z = heights[:, None] + np.linspace(-0.3, 0.3, 7)
        wall = sample(grey, fit.pose.project_wall(azimuth, z.ravel()))
        return np.asarray(np.median(wall.reshape(*z.shape, -1), axis=2).min(axis=1))

    labelled = np.array([m.label for m in SCALE.marks])
    plain = fit.height_mm[~labelled]
    assert np.median(darkest(fit.grey, plain)) < 100 < 150 < np.median(darkest(picture, plain))
    assert np.median(darkest(picture, fit.height_mm[labelled])) < 110


@pytest.mark.slow
def test_where_backs_may_show_all_over_the_marks_are_taken_as_they_are_seen():
    """A row of a few marks in a photo of something else: nothing would be left to fit a pose to."""
    fit = fitted(8.0, 1.0)
    covered = replace(fit.samples, backs=np.ones_like(fit.used))
    every = points_seen(fit.pose, covered, fit.used, fit.height_mm)
    some = points_seen(fit.pose, fit.samples, fit.used, fit.height_mm)
    assert len(every.height_mm) == min(200, fit.used.sum()) > 12
    assert len(some.height_mm) == min(200, (fit.used & ~fit.samples.backs).sum())

"""Refraction and parallax against textbooks, hand sums and a traced ray."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from vision.optics import refraction as optics


def test_snell_at_air_to_water_and_back():
    # The path of least time (Fermat) from 1 above a surface to 1 below and 1.2 aside, by search:
    # it knows no law of sines.
    best = minimize_scalar(lambda x: math.hypot(1, x) + 1.333 * math.hypot(1, 1.2 - x),
                           bounds=(0, 1.2), method="bounded", options={"xatol": 1e-10}).x
    into, out = best / math.hypot(1, best), (1.2 - best) / math.hypot(1, 1.2 - best)
    assert optics.snell(into, 1.0, 1.333) == pytest.approx(out, abs=1e-6)
    assert optics.snell(optics.snell(0.3, 1.0, 1.5), 1.5, 1.0) == pytest.approx(0.3)
    assert math.isnan(optics.snell(0.9, 1.5, 1.0)), "total reflection has no refracted ray"


def test_critical_angle_of_water():
    # Critical angle of water against air 48.6 deg (E. Hecht, Optics, chapter 4, from memory).
    just_below, just_above = (math.sin(math.radians(a)) for a in (48.5, 48.7))
    assert not math.isnan(optics.snell(just_below, 1.333, 1.0))
    assert math.isnan(optics.snell(just_above, 1.333, 1.0))


@pytest.mark.parametrize("radius_mm, elevation_deg, above_mm, below_mm", [
    (11.5, 10, 2.03, 1.51), (14.8, 10, 2.61, 1.94), (25, 10, 4.41, 3.28),
    (11.5, 1, 0.20, 0.15), (14.8, 5, 1.29, 0.97), (25, 2, 0.87, 0.66),
])
def test_parallax_table(radius_mm, elevation_deg, above_mm, below_mm):
    # Worked by hand: r tan e above, r tan(asin(sin e / 1.333)) below.
    assert optics.apparent_height_shift_mm(elevation_deg, radius_mm) == pytest.approx(
        above_mm, abs=0.006)
    assert optics.apparent_height_shift_mm(-elevation_deg, radius_mm) == pytest.approx(
        -below_mm, abs=0.006)


def test_parallax_of_a_wide_bore_seen_steeply():
    # 18 mm and 15 deg: 4.8 mm, worked by hand.
    assert optics.apparent_height_shift_mm(15, 18) == pytest.approx(4.82, abs=0.01)


def test_wall_shift_by_hand():
    # t (tan e - tan asin(sin e / n)): 1.5 mm, n 1.585, 10 deg -> 0.10 mm.
    assert optics.wall_shift_mm(10, 1.5, 1.585) == pytest.approx(0.10, abs=0.005)
    assert optics.wall_shift_mm(-10, 1.5, 1.585) == -optics.wall_shift_mm(10, 1.5, 1.585)


@pytest.mark.parametrize("elevation_deg", [-28.0, -7.0, 4.0, 25.0])
def test_apparent_height_agrees_with_a_traced_ray(elevation_deg):
    """A ray traced face by face with the vector form of Snell's law (independent of the formula).

    Vector form: A. S. Glassner, An Introduction to Ray Tracing, 1989, chapter 2.
    """
    radius, wall, n_wall, n_liquid = 15.0, 1.6, 1.585, 1.333

    def refract(d, normal, n1, n2):
        mu, cos_i = n1 / n2, -float(np.dot(normal, d))
        cos_t = math.sqrt(1 - mu**2 * (1 - cos_i**2))
        return mu * d + (mu * cos_i - cos_t) * normal

    e = math.radians(elevation_deg)
    ray = np.array([math.cos(e), -math.sin(e)])  # (into the chamber, up), camera looks down for e>0
    normal = np.array([-1.0, 0.0])
    in_wall = refract(ray, normal, 1.0, n_wall)
    inside = refract(in_wall, normal, n_wall, 1.0 if elevation_deg > 0 else n_liquid)
    point = np.array([0.0, 0.0])  # on the front face
    for direction, depth in ((in_wall, wall), (inside, radius)):
        point = point + direction * (depth / direction[0])
    assert optics.apparent_height_shift_mm(
        elevation_deg, radius, wall, n_wall, n_liquid) == pytest.approx(-point[1], abs=1e-9)


def test_level_sight_has_no_shift_and_the_two_sides_meet():
    e = np.array([-1e-6, 0.0, 1e-6])
    shift = optics.apparent_height_shift_mm(e, 20.0, 1.5, 1.5)
    assert shift[1] == 0.0
    assert np.all(np.abs(shift) < 1e-6)

"""The renderer's refraction against closed forms, sourced indices and a second computation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from vision import constants
from vision.synthetic.chamber.optics import (
    INDEX_PLASTICS,
    INDEX_WATER,
    fresnel,
    meet,
    reflected,
    refracted,
)

ANGLES_DEG = np.arange(0.0, 89.0, 4.0)
PAIRS = [(1.0, INDEX_WATER), (INDEX_WATER, 1.0), (1.0, INDEX_PLASTICS["pmma"]),
         (INDEX_PLASTICS["polycarbonate"], INDEX_WATER), (INDEX_PLASTICS["pvc"], 1.0)]


def refracted_angle(angle_deg: float, n1: float, n2: float) -> tuple[float, float]:
    """Angle behind the plane z = 0 (degrees) and reflected share, by the code under test."""
    a = math.radians(angle_deg)
    d = tuple(np.array([v]) for v in (math.sin(a), 0.0, -math.cos(a)))
    n = tuple(np.array([v]) for v in (0.0, 0.0, 1.0))
    along, cos_out, share = meet(d, n, n1 / n2, np)
    into, mirrored = refracted(d, n, n1 / n2, along, cos_out, np), reflected(d, n, along)
    assert mirrored[2][0] == pytest.approx(math.cos(a))
    assert math.hypot(mirrored[0][0], mirrored[2][0]) == pytest.approx(1.0)
    return math.degrees(math.atan2(into[0][0], -into[2][0])), float(share[0])


def test_indices_are_those_of_the_readers_sourced_tables():
    # The renderer shares no code with the reader; what is looked up must agree all the same.
    # The tables themselves are tried against dispersion formulas in tests/test_constants.py.
    assert pytest.approx(constants.WATER_REFRACTIVE_INDEX.value) == INDEX_WATER
    for name, index in INDEX_PLASTICS.items():
        known = constants.refractive_index({"pmma": "PMMA", "pvc": "PVC"}.get(name, name))
        assert index == known.value, name


@pytest.mark.parametrize(("n1", "n2"), PAIRS)
def test_refraction_follows_snell_on_either_side_of_the_normal(n1, n2):
    for angle in ANGLES_DEG:
        sine = n1 / n2 * math.sin(math.radians(angle))
        bent, share = refracted_angle(angle, n1, n2)
        if sine >= 1:
            assert share == 1.0  # total reflection
        else:
            assert bent == pytest.approx(math.degrees(math.asin(sine)), abs=1e-6)
            assert share < 1.0


def test_refraction_is_the_path_of_least_time():
    # Fermat's principle, minimised numerically: knows nothing of Snell's law.
    n1, n2, height, depth, across = 1.0, INDEX_WATER, 40.0, 25.0, 60.0

    def time(x: float) -> float:
        return n1 * math.hypot(x, height) + n2 * math.hypot(across - x, depth)

    x = minimize_scalar(time, bounds=(0, across), method="bounded",
                        options={"xatol": 1e-10}).x
    angle = math.degrees(math.atan2(x, height))
    bent, _ = refracted_angle(angle, n1, n2)
    assert bent == pytest.approx(math.degrees(math.atan2(across - x, depth)), abs=1e-4)


def test_critical_angle_of_water():
    # asin(1 / 1.333) = 48.6 degrees, a handbook value.
    assert refracted_angle(48.5, INDEX_WATER, 1.0)[1] < 1.0
    assert refracted_angle(48.7, INDEX_WATER, 1.0)[1] == 1.0


@pytest.mark.parametrize(("n1", "n2"), PAIRS)
def test_reflected_and_transmitted_power_add_up(n1, n2):
    # Transmitted power from the field amplitudes (Born & Wolf, Principles of Optics, 1.5.2,
    # from memory), an independent route to 1 - R.
    for angle in np.radians(ANGLES_DEG):
        sine = n1 / n2 * math.sin(angle)
        if sine >= 1:
            continue
        ci, ct = math.cos(angle), math.sqrt(1 - sine * sine)
        across = 2 * n1 * ci / (n1 * ci + n2 * ct)
        along = 2 * n1 * ci / (n2 * ci + n1 * ct)
        transmitted = n2 * ct / (n1 * ci) * (across**2 + along**2) / 2
        share, cos_out = fresnel(np.array([ci]), n1 / n2, np)
        assert float(share[0]) + transmitted == pytest.approx(1.0, abs=1e-6)
        assert float(cos_out[0]) == pytest.approx(ct, abs=1e-9)


def test_share_reflected_head_on_and_at_brewsters_angle():
    n = INDEX_WATER
    head_on, _ = fresnel(np.array([1.0]), 1 / n, np)
    assert float(head_on[0]) == pytest.approx(((n - 1) / (n + 1)) ** 2, abs=1e-7)
    brewster = math.atan(n)  # there only the wave across the plane is reflected
    share, _ = fresnel(np.array([math.cos(brewster)]), 1 / n, np)
    across = (n * n - 1) / (n * n + 1)
    assert float(share[0]) == pytest.approx(across**2 / 2, abs=1e-7)


def test_a_pane_shifts_a_ray_but_does_not_turn_it():
    for angle in (5.0, 20.0, 50.0):
        inside, _ = refracted_angle(angle, 1.0, 1.585)
        assert refracted_angle(inside, 1.585, 1.0)[0] == pytest.approx(angle, abs=1e-6)

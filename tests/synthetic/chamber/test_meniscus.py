"""The meniscus solver against closed forms, table values and another integrator."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from vision.synthetic.chamber.meniscus import CAPILLARY_LENGTH_MM as A
from vision.synthetic.chamber.meniscus import meniscus_profile

#: Enough for steps of 0.015 mm across a bore of 1 m radius.
WIDE_POINTS = 65537


@pytest.mark.parametrize("theta", [20.0, 45.0, 70.0, 85.0])
def test_wide_bore_rises_like_a_plane_wall(theta):
    # Planar Young-Laplace: rise = a sqrt(2 (1 - sin theta)) (Landau & Lifshitz, Fluid
    # Mechanics, section 61, from memory); a bore of 1 m is nearly a plane wall.
    rise = A * math.sqrt(2 * (1 - math.sin(math.radians(theta))))
    profile = meniscus_profile(1000.0, theta, points=WIDE_POINTS)
    assert profile.rim_mm == pytest.approx(rise, rel=0.005)
    assert profile.dish_level_mm == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("theta", "rise"), [(13.6, 3.37), (70.9, 0.90), (82.0, 0.38), (85.6, 0.21)])
def test_rise_on_glass_and_clear_plastics(theta, rise):
    # Contact angles: glass 13.6 (Int. J. Microbiol. 2011), PMMA 70.9, PC 82, PVC 85.6 (polymer
    # survey means); rise by the planar formula with a = 2.73 mm.  Tolerance: the table's last
    # digit (0.01) and the bore of 1 m in place of a plane wall (a / 3R, 0.004).
    rim = meniscus_profile(1000.0, theta, 2.73, points=WIDE_POINTS).rim_mm
    assert rim == pytest.approx(rise, abs=0.015)


@pytest.mark.parametrize("theta", [10.0, 30.0, 60.0])
def test_narrow_bore_rises_after_jurin(theta):
    # Jurin: 2 sigma cos theta / (rho g r) = 2 a^2 cos theta / r, less about r / 3 of the cap;
    # the cap itself is a part of a sphere.
    r = 0.1
    c, s = math.cos(math.radians(theta)), math.sin(math.radians(theta))
    profile = meniscus_profile(r, theta)
    assert profile.dish_level_mm == pytest.approx(2 * A * A * c / r, rel=2e-3)
    assert profile.rim_mm == pytest.approx(r * (1 - s) / c, rel=5e-3)


@pytest.mark.parametrize(("radius", "theta"), [(10.0, 20.0), (15.0, 55.0), (18.0, 80.0)])
def test_profile_is_the_one_another_integrator_finds(radius, theta):
    # Shoot by arc length from the lowest point with the solver's own apex height.
    profile = meniscus_profile(radius, theta, points=2049)
    apex = profile.dish_level_mm

    def rates(_s, y):
        r, z, psi = y
        bend = math.sin(psi) / r if r > 1e-9 else apex / (2 * A * A)
        return [math.cos(psi), math.sin(psi), (apex + z) / (A * A) - bend]

    def at_wall(_s, y):
        return y[0] - radius

    at_wall.terminal = True  # type: ignore[attr-defined]
    path = solve_ivp(rates, (0, 3 * radius), [0.0, 0.0, 0.0], events=at_wall, rtol=1e-9,
                     atol=1e-12, max_step=0.1)
    assert math.degrees(path.y[2, -1]) == pytest.approx(90 - theta, abs=0.3)
    assert path.y[1, -1] == pytest.approx(profile.rim_mm, abs=0.01)
    r = np.linspace(0, radius * 0.99, 30)
    ours = np.interp(r, np.linspace(0, radius, 2049), profile.rise_mm)
    assert np.abs(np.interp(r, path.y[0], path.y[1]) - ours).max() < 0.01


def test_profile_is_flat_at_ninety_degrees_and_steeper_wetting_rises_more():
    assert np.abs(meniscus_profile(15.0, 90.0).rise_mm).max() < 1e-9
    rims = [meniscus_profile(15.0, t).rim_mm for t in (85, 70, 50, 30, 20)]
    assert rims == sorted(rims)
    for t in (20, 50, 80):
        assert (np.diff(meniscus_profile(15.0, t).slope) >= -1e-9).all()  # convex


@pytest.mark.parametrize("theta", [0.0, -5.0, 91.0, math.nan])
def test_impossible_contact_angle_is_refused(theta):
    with pytest.raises(ValueError, match="contact angle"):
        meniscus_profile(15.0, theta)

"""The meniscus against tables, textbooks and an independent solver."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from vision import constants
from vision.errors import InputError
from vision.optics import young_laplace as optics


def rise_by_another_way(contact_angle_deg: float, bore_radius_mm: float, c_mm: float) -> float:
    """scipy's adaptive solver along the arc, shooting for the height on the axis."""
    wall = math.radians(90 - contact_angle_deg)
    radius = bore_radius_mm / c_mm

    def surface(log_u0):
        u0 = math.exp(log_u0)

        def rate(_, y):
            r, u, psi = y
            return [math.cos(psi), math.sin(psi), u - (math.sin(psi) / r if r > 1e-9 else u0 / 2)]

        at_wall = [lambda _, y: y[2] - wall, lambda _, y: y[0] - 2 * radius]
        for event in at_wall:
            event.terminal = True
        s = solve_ivp(rate, (0, 6 * radius + 6), [0.0, u0, 0.0], events=at_wall,
                      method="DOP853", rtol=1e-10, atol=1e-13)
        return s.y[0, -1], s.y[1, -1] - u0

    log_u0 = brentq(lambda q: surface(q)[0] - radius, math.log(1e-5), math.log(4 / radius),
                    xtol=1e-9)
    return c_mm * surface(log_u0)[1]


@pytest.mark.parametrize("contact_angle_deg", [0, 13.6, 45, 75])
@pytest.mark.parametrize("bore_radius_mm", [0.8, 4.0, 11.5, 18.0])
def test_rise_agrees_with_an_adaptive_solver(contact_angle_deg, bore_radius_mm):
    other = rise_by_another_way(contact_angle_deg, bore_radius_mm, 2.7)
    assert optics.meniscus_rise_mm(contact_angle_deg, bore_radius_mm) == pytest.approx(
        other, rel=5e-4)


@pytest.mark.parametrize("diameter_in, central_in, marginal_in", [
    (0.60, 0.005, 0.066), (0.50, 0.007, 0.067), (0.40, 0.012, 0.069), (0.35, 0.017, 0.072),
    (0.30, 0.027, 0.079), (0.25, 0.038, 0.086), (0.20, 0.056, 0.096), (0.15, 0.085, 0.116),
    (0.10, 0.140, 0.161),
])
def test_mercury_in_round_tubes_of_1805(diameter_in, central_in, marginal_in):
    """T. Young, An Essay on the Cohesion of Fluids, Phil Trans R Soc 1805;95:65, table on p. 74.

    He drew the surfaces for mercury by construction, with c = 0.1 inch / sqrt(2)
    and a contact angle of 140 degrees.  The height of the meniscus is his marginal
    less his central depression ("by diagram"), both read to 0.001 inch; two such
    readings and a drawing by hand allow 0.003 inch.
    """
    rise = optics.meniscus_rise_mm(140.0, diameter_in / 2 * 25.4,
                                   capillary_length_mm=25.4 * 0.1 / math.sqrt(2)) / 25.4
    assert -rise == pytest.approx(marginal_in - central_in, abs=0.003)


@pytest.mark.parametrize("bore_radius_mm", [0.1, 0.3, 0.5])
def test_narrow_bore_is_nearly_a_hemisphere(bore_radius_mm):
    # Wetted narrow tube: r - r^3 log(2) / (3 c^2) + ... (Lord Rayleigh, On the Theory of the
    # Capillary Tube, Proc R Soc A 1916;92:184, equation 29).  The correction itself is
    # compared, to the size of the next term of the series.
    rise = optics.meniscus_rise_mm(0.0, bore_radius_mm, 2.7)
    x = (bore_radius_mm / 2.7) ** 2
    assert (1 - rise / bore_radius_mm) / (x / 3) == pytest.approx(math.log(2), abs=0.5 * x + 5e-4)


@pytest.mark.parametrize("bore_radius_mm", [0.05, 0.15])
def test_jurin_height_of_a_narrow_bore(bore_radius_mm):
    """The height on the axis above the outside level, from the curvature there, is Jurin's.

    J. Jurin 1718; h = 2 c^2 cos(theta) / r, less a third of r for the meniscus (wetted).
    """
    r, z, slope = optics.meniscus_profile(0.0, bore_radius_mm, 401)
    radius_of_curvature = r[1] / math.sin(slope[1])
    height = 2 * 2.7**2 / radius_of_curvature
    assert height == pytest.approx(2 * 2.7**2 / bore_radius_mm - bore_radius_mm / 3, rel=1e-3)


@pytest.mark.parametrize("material, planar_mm", [
    ("glass", 3.37), ("PMMA", 0.90), ("polycarbonate", 0.38), ("PVC", 0.21), ("polystyrene", 0.12),
])
def test_wide_bore_reaches_the_flat_wall(material, planar_mm):
    # Vertical flat wall: h = sqrt(2 (1 - sin theta)) c (L. D. Landau, E. M. Lifshitz,
    # Fluid Mechanics, section 61); values with c = 2.73 mm worked by hand.
    angle = constants.contact_angle_deg(material).value
    assert optics.meniscus_rise_mm(angle, math.inf, 2.73) == pytest.approx(planar_mm, abs=0.01)
    # A round wall adds its own curvature, about a thousandth at 1000 mm.
    assert optics.meniscus_rise_mm(angle, 1000.0, 2.73) == pytest.approx(planar_mm, abs=0.02)


def test_polypropylene_is_convex():
    assert optics.meniscus_rise_mm(constants.contact_angle_deg("polypropylene").value, 15.0) < 0


@pytest.mark.parametrize("contact_angle_deg", [0, 5, 40, 85, 89.99, 90, 120])
@pytest.mark.parametrize("bore_radius_mm", [0.5, 6.0, 15.0, 120.0])
def test_profile_obeys_young_laplace_and_the_table(contact_angle_deg, bore_radius_mm):
    r, z, slope = optics.meniscus_profile(contact_angle_deg, bore_radius_mm, 3001)
    assert r[0] == z[0] == slope[0] == 0.0
    assert r[-1] == pytest.approx(bore_radius_mm)
    assert math.degrees(slope[-1]) == pytest.approx(90 - contact_angle_deg, abs=1e-6)
    assert z[-1] == pytest.approx(
        optics.meniscus_rise_mm(contact_angle_deg, bore_radius_mm), rel=1e-4, abs=1e-9)
    # Force balance on the column inside radius r: weight = surface tension's vertical pull,
    # r sin(psi) c^2 = integral of (u0 + z) r dr; u0 follows from the balance at the wall.
    c2 = 2.7**2
    inside = np.concatenate([[0], np.cumsum((z[1:] * r[1:] + z[:-1] * r[:-1]) / 2 * np.diff(r))])
    u0 = (c2 * r[-1] * np.sin(slope[-1]) - inside[-1]) * 2 / r[-1] ** 2
    half = len(r) * 3 // 4
    pull = c2 * r[half] * np.sin(slope[half])
    assert pull == pytest.approx(inside[half] + u0 * r[half] ** 2 / 2,
                                 abs=2e-3 * c2 * r[-1] * abs(np.sin(slope[-1])) + 1e-12)


@pytest.mark.parametrize("bore_radius_mm", [3.0, 15.0])
def test_contact_angle_round_trip(bore_radius_mm):
    angles = np.array([0.5, 20, 60, 89, 90, 91, 130])
    rises = optics.meniscus_rise_mm(angles, bore_radius_mm)
    assert optics.contact_angle_from_rise(rises, bore_radius_mm) == pytest.approx(angles, abs=1e-3)
    assert math.isnan(optics.contact_angle_from_rise(9.0, bore_radius_mm))


@pytest.mark.parametrize("angle, radius", [(-1, 10), (181, 10), (30, 0), (30, -2)])
def test_impossible_input_is_refused(angle, radius):
    with pytest.raises(InputError):
        optics.meniscus_rise_mm(angle, radius)
    with pytest.raises(InputError):
        optics.meniscus_profile(angle, radius)


@pytest.mark.parametrize("contact_angle_deg", [5.0, 45.0, 82.0])
def test_the_picture_maker_draws_the_same_surface_by_other_means(contact_angle_deg):
    """The ray tracer solves the surface on its own grid; neither knows the other."""
    from vision.synthetic.chamber.meniscus import meniscus_profile as drawn

    other = drawn(15.0, contact_angle_deg, 2.7)
    assert other.rim_mm == pytest.approx(
        optics.meniscus_rise_mm(contact_angle_deg, 15.0, 2.7), rel=5e-3)


def test_reader_and_picture_maker_do_not_know_each_other():
    from pathlib import Path

    import vision

    house = Path(vision.__file__).parent
    for name in ("optics/refraction.py", "optics/young_laplace.py", "constants.py"):
        assert "synthetic" not in (house / name).read_text(encoding="utf-8")
    for path in (house / "synthetic" / "chamber").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert "vision.optics" not in text, path.name

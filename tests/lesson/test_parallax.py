"""The parallax lesson against closed forms, the law of least time and handbook optics."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from vision.errors import InputError
from vision.lesson.parallax import BORE_BOUNDS_MM, EyeView, error_curve, eye_reading, lesson_scale

FAR_MM = 3000.0


def view(bore=30.0, height=100.0, distance=350.0, **more):
    scale = lesson_scale(bore)
    return EyeView(scale, 0.55 * scale.capacity, height, distance, **more)


# ------------------------------------------------------------------ the chamber
@pytest.mark.parametrize("bore", np.arange(BORE_BOUNDS_MM[0], BORE_BOUNDS_MM[1] + 1, 2.0))
def test_a_lesson_chamber_holds_what_its_marks_say(bore):
    scale = lesson_scale(float(bore))
    heights = [m.height_mm for m in scale.marks]
    assert min(np.diff(heights)) >= 1.25 - 1e-3, "marks apart enough to be told apart"
    assert 60 < heights[-1] - heights[0] <= 86
    # A cylinder's volume: pi r^2 h, 1 mL = 1000 mm3.
    held = math.pi * bore**2 / 4 * (heights[-1] - heights[0]) / 1000
    assert held == pytest.approx(scale.capacity, rel=1e-4)
    assert sum(m.label for m in scale.marks) >= 5


@pytest.mark.parametrize("bore", [0, 17, 45, math.nan])
def test_a_bore_out_of_reason_is_refused(bore):
    with pytest.raises(InputError, match="bore of a lesson chamber"):
        lesson_scale(bore)


@pytest.mark.parametrize(("change", "word"), [
    ({"height": math.inf}, "eye height"), ({"distance": 20.0}, "distance"),
    ({"contact_angle_deg": 150.0}, "contact angle"), ({"lean_deg": 40.0}, "lean")])
def test_an_eye_out_of_reason_is_refused_by_name(change, word):
    with pytest.raises(InputError, match=word):
        view(**change)


# ------------------------------------------------------------------ the sight line
def test_from_the_height_of_the_level_there_is_no_error():
    # ISO 4787:2021 (from memory): the eye in the plane of the meniscus reads without parallax.
    seen = eye_reading(view(height=0.0))
    assert seen.error == pytest.approx(0.0, abs=1e-9)
    assert seen.shift_mm == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("bore", "elevation_deg"), [(23.0, 5.0), (29.6, 10.0), (36.0, 15.0)])
def test_a_far_eye_above_reads_the_closed_form(bore, elevation_deg):
    # R tan a in the bore and t tan(asin(sin a / n)) in the wall, worked in the plane.
    v = view(bore, FAR_MM * math.tan(math.radians(elevation_deg)), FAR_MM)
    e = math.radians(elevation_deg)
    wall = v.wall_mm * math.tan(math.asin(math.sin(e) / v.wall_index))
    by_hand = v.bore_radius_mm * math.tan(e) + wall
    assert eye_reading(v).shift_mm == pytest.approx(by_hand, rel=3e-3)


def test_eighteen_millimetres_and_fifteen_degrees_make_4_8_mm():
    v = view(36.0, FAR_MM * math.tan(math.radians(15)), FAR_MM, wall_index=1e9)
    assert eye_reading(v).shift_mm == pytest.approx(4.82, abs=0.02)


def test_below_and_above_differ_by_the_index_of_the_liquid():
    # Apparent depth is depth / n near the normal (E. Hecht, Optics, section 4.4, from memory);
    # with n = 1.333 (IAPWS R9-97) a small angle from below errs 1/1.333 as much as from above.
    flat = {"wall_index": 1e9}  # a wall that takes no part
    above = eye_reading(view(30.0, 10.0, FAR_MM, **flat)).shift_mm
    below = eye_reading(view(30.0, -10.0, FAR_MM, **flat)).shift_mm
    assert above / -below == pytest.approx(1.333, rel=0.004)


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(bore=st.sampled_from([20.0, 30.0, 44.0]), height=st.floats(-250, 250),
       distance=st.floats(250, 800), lean=st.floats(-4, 4), index=st.floats(1.49, 1.59))
def test_the_sight_line_is_the_path_of_least_time(bore, height, distance, lean, index):
    """Fermat's principle, minimised numerically: knows neither Snell's law nor elevations."""
    v = view(bore, height, distance, lean_deg=lean, wall_index=index)
    b = math.radians(lean)
    # The eye in the chamber's frame by an explicit rotation.
    eye = np.array([[math.cos(b), -math.sin(b)], [math.sin(b), math.cos(b)]]) @ [-distance, height]
    inside = 1.0 if height >= 0 else v.liquid_index
    outer, inner = v.scale.outer_radius_mm, v.bore_radius_mm

    def time(z):
        return (math.hypot(eye[0] + outer, eye[1] - z[0])
                + index * math.hypot(outer - inner, z[0] - z[1]) + inside * math.hypot(inner, z[1]))

    start = inner * eye[1] / -eye[0]
    best = minimize(time, [start, start], method="BFGS", options={"gtol": 1e-9})
    seen = eye_reading(v)
    assert seen.path_mm[1][1] == pytest.approx(best.x[0], abs=2e-3)
    assert seen.path_mm[2][1] == pytest.approx(best.x[1], abs=2e-3)
    assert seen.shift_mm == seen.path_mm[1][1]


def test_a_lean_shifts_the_reading_of_a_level_eye_by_r_tan_b():
    # Through the air (an eye a hair above the level), chamber leaning away: R tan b too low.
    for lean in (-3.0, 2.0, 4.0):
        v = view(30.0, 1e-6, FAR_MM, lean_deg=lean, wall_index=1e9)
        by_hand = -v.bore_radius_mm * math.tan(math.radians(lean))
        assert eye_reading(v).shift_mm == pytest.approx(by_hand, rel=0.01)


def test_the_curve_is_the_reading_at_each_height_and_rises_throughout():
    v, heights = view(), np.linspace(-250, 250, 41)
    curve = error_curve(v, heights)
    one_by_one = [eye_reading(view(height=float(h))).error for h in heights]
    assert curve == pytest.approx(one_by_one, abs=1e-9)
    assert (np.diff(curve) > 0).all(), "a higher eye always reads more"


def test_divisions_and_units_fit_each_other():
    seen = eye_reading(view(40.0, 80.0))
    assert seen.division == 2.0
    assert seen.error_divisions == pytest.approx(seen.error / 2.0)
    mm_per_ml = 1000 / (math.pi * 20**2)
    assert seen.error == pytest.approx(seen.shift_mm / mm_per_ml, rel=1e-3)


# ------------------------------------------------------------------ the edge at the wall
def test_the_edge_stands_about_as_high_as_at_a_flat_wall():
    # Closed form of a flat wall, sqrt(2 (1 - sin theta)) capillary lengths of 2.70 mm (Finn,
    # Equilibrium Capillary Surfaces, 1986); in a bore eight of them wide within a tenth.
    seen = eye_reading(view(44.0, 0.0, contact_angle_deg=20.0))
    flat_wall = math.sqrt(2 * (1 - math.sin(math.radians(20)))) * 2.70
    assert seen.rise_mm == pytest.approx(flat_wall, rel=0.1)
    mm_per_ml = 1000 / (math.pi * 22**2)
    edge_mm = (seen.rim_value - seen.true_value) * mm_per_ml
    assert edge_mm == pytest.approx(seen.rise_mm, abs=0.03), "seen level, only the wall bends it"


def test_a_wall_that_is_not_wetted_has_no_edge():
    seen = eye_reading(view(30.0, 0.0, contact_angle_deg=90.0))
    assert seen.rim_value == pytest.approx(seen.true_value, abs=1e-6)

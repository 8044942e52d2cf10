"""Rings printed round an empty tube, and a liquid's edge that lies on one of them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from drawn_ladders import camera_towards, even_scale, paint_tube, printed, wall_point

from vision.graduations.fit import GraduationFit, fit_graduations
from vision.meniscus_image.printed_ring import (
    _parts_two_fluids,
    is_outshone,
    is_printed_ring,
)

SIZE, FOCAL = (420, 640), 800.0
SCALE = even_scale()
RINGS = {"short": (-1.1, 1.1), "long": (-1.4, 1.4)}


@lru_cache(maxsize=4)
def picture(liquid: tuple[float, float] | None = None) -> tuple[np.ndarray, GraduationFit]:
    camera = camera_towards(6.0, 110.0, (0, 0, 22.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, printed(SCALE, liquid=liquid, **RINGS))
    grey = grey + np.random.default_rng(4).normal(0, 2.0, grey.shape).astype(np.float32)
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None
    return np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2), fit


@pytest.mark.parametrize("mark", [8, 13, 20, 22])
def test_a_ring_of_an_empty_tube_is_a_ring(mark):
    rgb, fit = picture()
    assert is_printed_ring(rgb, fit, SCALE.marks[mark].height_mm + 0.2)


@pytest.mark.parametrize("mark", [10, 13, 17])
def test_the_edge_of_a_liquid_between_two_rings_is_a_surface(mark):
    height = SCALE.marks[mark].height_mm + 0.75
    rgb, fit = picture((height, 120.0))
    assert not is_printed_ring(rgb, fit, height)


@pytest.mark.parametrize("mark", [8, 13, 20])
def test_the_back_of_a_ring_is_seen_through_the_tube(mark):
    rgb, fit = picture()
    height = SCALE.marks[mark].height_mm
    # straight lines: the back of the ring, a diameter farther off, seen from above
    slope = np.tan(float(fit.pose.elevation_rad(height)))
    assert slope > 0.02
    assert is_printed_ring(rgb, fit, height + 2 * SCALE.outer_radius_mm * slope)


def test_where_too_few_rings_can_be_compared_a_line_on_one_is_no_surface():
    camera = camera_towards(6.0, 110.0, (0, 0, 22.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, printed(SCALE, long=RINGS["long"]))
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None
    rgb = np.repeat(grey.astype(np.uint8)[..., None], 3, axis=2)
    rings = [m.height_mm for m in SCALE.marks if m.length == "long"]
    assert len(rings) < 8 and is_printed_ring(rgb, fit, rings[-1] + 0.3)
    # away from the rings' fronts and backs nothing is said
    steps = np.arange(rings[1], rings[2], 0.1)
    assert not all(is_printed_ring(rgb, fit, z) for z in steps)


def test_the_edge_of_a_liquid_on_a_ring_is_a_surface():
    height = SCALE.marks[14].height_mm
    rgb, fit = picture((height - 0.1, 120.0))
    assert not is_printed_ring(rgb, fit, height)
    # and rings above and below it stay rings
    assert is_printed_ring(rgb, fit, SCALE.marks[21].height_mm)


@pytest.mark.parametrize(("mark", "levels"), [(9, 40.0), (14, 40.0), (14, 25.0)])
def test_where_the_wall_changes_its_colour_on_a_ring_two_fluids_meet(mark, levels):
    """Rings seen obliquely with their backs hide the meniscus band: what is left is that the wall
    is another colour above than below, which it is at no other ring."""
    height = SCALE.marks[mark].height_mm
    rgb, fit = picture()
    low = fit.pose.project(fit.pose.on_wall(np.zeros(1), np.array([height])))[0, 1]
    tinted = rgb.astype(float)
    tinted[int(low):, :, 2] -= levels  # a clear yellow liquid: print and wall alike through it
    ring = SCALE.marks[mark]
    assert _parts_two_fluids(np.clip(tinted, 0, 255).astype(np.uint8), fit, ring, height)
    assert not _parts_two_fluids(rgb, fit, ring, height)
    far = SCALE.marks[mark + 12]
    assert not _parts_two_fluids(np.clip(tinted, 0, 255).astype(np.uint8), fit, far, far.height_mm)


@pytest.mark.parametrize("mark", [9, 14, 20])
def test_a_ring_unlike_the_others_is_one_where_the_wall_keeps_its_colour(mark):
    """Seen level, front and back of a ring lie in one line, darker and wider than other rings."""
    height = SCALE.marks[mark].height_mm
    rgb, fit = picture()
    high, low = fit.pose.project(fit.pose.on_wall(
        np.zeros(2), np.array([height + 0.6, height - 0.6])))[:, 1].astype(int)
    wide = rgb.astype(float)
    wide[high:low] *= 0.4
    assert is_printed_ring(np.clip(wide, 0, 255).astype(np.uint8), fit, height)
    wide[low:, :, 2] -= 40.0  # but a band at which the wall changes is a meniscus
    assert not is_printed_ring(np.clip(wide, 0, 255).astype(np.uint8), fit, height)


def test_a_lid_close_to_the_last_ring_hides_no_surface():
    """The wall changes at two places then: where two fluids meet, and below the lid."""
    ring = SCALE.marks[14]
    rgb, fit = picture()
    levels = np.array([ring.height_mm, SCALE.highest_mark.height_mm - 1.0])
    line, lid = fit.pose.project(fit.pose.on_wall(np.zeros(2), levels))[:, 1].astype(int)
    tinted = rgb.astype(float)
    tinted[line:, :, 2] -= 40.0
    tinted[:lid] *= 0.3
    rgb = np.clip(tinted, 0, 255).astype(np.uint8)
    assert _parts_two_fluids(rgb, fit, ring, ring.height_mm)
    other = SCALE.marks[21]
    assert not _parts_two_fluids(rgb, fit, other, other.height_mm)


def test_a_line_on_a_ring_is_outshone_where_the_tube_plainly_changes_elsewhere():
    """A cloudy liquid far below the line, which parts nothing; a clear one changes no more than
    curtains behind do."""
    line, surface = SCALE.marks[24].height_mm + 0.3, SCALE.marks[9].height_mm + 0.7
    rgb, fit = picture()
    low = int(fit.pose.project(fit.pose.on_wall(np.zeros(1), np.array([surface])))[0, 1])
    for levels, plainly in ((80.0, True), (15.0, False)):
        cloudy = rgb.astype(float)
        cloudy[low:] -= levels
        seen = np.clip(cloudy, 0, 255).astype(np.uint8)
        assert is_outshone(seen, fit, line, [surface]) == plainly
        assert not is_outshone(seen, fit, line, [SCALE.marks[16].height_mm])
        assert not is_outshone(seen, fit, surface, [line]), "the surface itself"
    assert not is_outshone(seen, fit, line, [])


def test_short_marks_are_no_rings():
    camera = camera_towards(6.0, 110.0, (0, 0, 22.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, printed(SCALE))
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None
    rgb = np.repeat(grey.astype(np.uint8)[..., None], 3, axis=2)
    assert not is_printed_ring(rgb, fit, SCALE.marks[12].height_mm)


def test_backs_of_rings_that_move_against_their_fronts_are_no_surface():
    """From near by the sight line falls on one ring from above and on another from below: no two
    rings look alike, and none is a surface."""
    import cv2

    scale = even_scale(count=51, long_every=5)
    camera = camera_towards(1.0, 190.0, (0, 0, 37.0), focal_px=1400.0, size=(420, 900))
    grey = paint_tube(camera, (420, 900), scale.outer_radius_mm,
                      printed(scale, long=RINGS["long"]))
    azimuth = np.linspace(0.5 * np.pi, 1.5 * np.pi, 60)
    rings = [m.height_mm for m in scale.marks if m.length == "long"]
    for z in rings:
        back = camera.project(wall_point(azimuth, np.full(60, z), scale.outer_radius_mm))
        cv2.polylines(grey, [np.round(back * 16).astype(np.int32)], False, 60.0, 2, cv2.LINE_AA, 4)
    fit = fit_graduations(grey, scale, focal=(1400.0, 0.02))
    assert fit is not None
    rgb = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    for height in rings[3:-3]:
        slope = np.tan(float(fit.pose.elevation_rad(height)))
        assert is_printed_ring(rgb, fit, height + 2 * scale.outer_radius_mm * slope)

"""The front contact line: a painted step on a painted tube, found to a part of a pixel."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_ladders import camera_towards, paint_tube, printed

from vision.graduations.cylinder_pose import CylinderPose
from vision.meniscus_image.contact_line import find_contact_line, print_mask
from vision.meniscus_image.unroll import across_to_azimuth, unroll, view
from vision.meniscus_image.views import Grid, whole_grid, window_grid
from vision.scale_file.scale import load_scale

SIZE = (360, 540)
FOCAL = 700.0
SCALE = load_scale("quay-60")
CORE, LONG = (-0.2, 0.25), (-0.2, 0.55)
#: Half a pixel at 6 pixels per mm.
PLACE_MM = 0.1
#: Slopes are tried in steps of 0.005; over the half width this is 0.2 mm, one pixel.
SLOPE = 0.012


def painted(elevation: float, liquid_mm: float, *, roll: float = 0.0, slope: float = 0.0,
            dark: float = 185.0, noise: float = 5.0) -> tuple[np.ndarray, CylinderPose]:
    """An RGB picture of a tube filled up to a line, and the pose of the camera that took it."""
    camera = camera_towards(elevation, 130.0, (0, 0, 42.0), roll_deg=roll, focal_px=FOCAL,
                            size=SIZE)
    plain = printed(SCALE)

    def colour(azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        out = plain(azimuth, height)
        level = liquid_mm + slope * 16.5 * np.sin(azimuth)
        return np.where((height < level) & (out > 100), dark, out)

    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, colour)
    grey += np.random.default_rng(4).normal(0, noise, grey.shape)
    rgb = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    d, h = -camera.centre_mm[1], camera.centre_mm[2]
    params = np.array([d, h, 0.0, np.radians(elevation), np.radians(roll), np.log(FOCAL)])
    return rgb, CylinderPose(params, np.zeros((6, 6)), SCALE.outer_radius_mm,
                             ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2), 0.1)


def line(rgb: np.ndarray, pose: CylinderPose, about: float):
    return find_contact_line(rgb, pose, SCALE, CORE, LONG, about, 1.2, pose.px_per_mm(about))


@pytest.mark.parametrize(("elevation", "roll"), [(0, 0), (10, 5), (-18, -7), (26, 3)])
@pytest.mark.parametrize("level", [23.31, 41.9])
def test_place(elevation, roll, level):
    rgb, pose = painted(elevation, level, roll=roll)
    found = line(rgb, pose, level + 0.5)
    assert found is not None
    assert found.height_mm == pytest.approx(level, abs=PLACE_MM)
    assert abs(found.slope) <= SLOPE
    assert found.contrast > 1.0


@pytest.mark.parametrize("slope", [-0.04, 0.02, 0.05])
def test_a_leaning_surface(slope):
    rgb, pose = painted(5, 33.3, slope=slope)
    found = line(rgb, pose, 33.0)
    assert found is not None
    assert found.slope == pytest.approx(slope, abs=SLOPE)
    assert found.height_mm == pytest.approx(33.3, abs=PLACE_MM)


@pytest.mark.parametrize("dark", [20.0, 120.0])
def test_a_very_strong_edge_is_not_called_leaning(dark):
    rgb, pose = painted(5, 33.3, dark=dark, noise=2.0)
    found = line(rgb, pose, 33.0)
    assert found is not None
    assert abs(found.slope) < np.tan(np.radians(2.0))  # from here on a photo is flagged
    assert found.height_mm == pytest.approx(33.3, abs=PLACE_MM)


def test_an_empty_tube_has_no_line_that_stands_out():
    full, pose = painted(5, 33.3)
    empty, _ = painted(5, -50.0)
    there, p_absent = line(full, pose, 33.3), line(empty, pose, 33.3)
    assert there is not None
    assert p_absent is None or p_absent.contrast < 0.25 * there.contrast


def test_marks_are_left_out():
    rows = np.array([SCALE.marks[30].height_mm, SCALE.marks[30].height_mm + 0.7])
    mask = print_mask(SCALE, CORE, LONG, rows, np.array([-0.6, 0.0, 0.4, 0.8]))
    assert mask.tolist() == [[False, True, True, False]] + [[False] * 4]


def test_outside_the_photo_there_is_no_line():
    rgb, pose = painted(0, 33.3)
    assert line(rgb, pose, 33.3 + 400.0) is None


class TestUnrolled:
    def test_level_lines_become_rows(self):
        rgb, pose = painted(20, 41.9, roll=6, dark=60.0, noise=0.0)
        z = np.arange(44.0, 39.0, -0.05)
        strip = unroll(rgb, pose, z, np.linspace(-0.8, 0.8, 9))[..., 0]
        step = z[np.abs(np.diff(strip[:, [0, 1, 7, 8]], axis=0)).argmax(axis=0)]
        assert step == pytest.approx(41.9, abs=0.25)

    def test_outlines_lie_at_one(self):
        _, pose = painted(0, 40.0)
        ends = across_to_azimuth(pose, np.array([-1.0, 0.0, 1.0]))
        assert ends == pytest.approx([-pose.limb_azimuth_rad(), 0, pose.limb_azimuth_rad()])

    def test_what_the_photo_does_not_show_is_nan(self):
        rgb, pose = painted(0, 40.0)
        strip = unroll(rgb, pose, np.arange(400.0, 380.0, -1.0), np.linspace(-0.8, 0.8, 9))
        assert np.isnan(strip).all()

    def test_view_is_the_mean_of_its_cells(self):
        rgb, pose = painted(0, 40.0, noise=0.0)
        grid = Grid(20, 8, 0.5, 50.0)
        flat = np.full_like(rgb, 77)
        assert view(flat, pose, grid, 6.0) == pytest.approx(np.full((20, 8, 3), 77.0))

    def test_grids_reach_beyond_the_scale_whichever_way_it_counts(self):
        for grid in (whole_grid(0.0, 84.9), whole_grid(84.9, 0.0)):
            assert grid.height_mm[0] > 84.9 + 15 and grid.height_mm[-1] < -8
            assert (np.diff(grid.height_mm) < 0).all()
        window = window_grid(33.0)
        assert window.height_mm.mean() == pytest.approx(33.0)
        assert np.abs(window.across).max() < 1.0

"""An edge that runs on past the chamber is of something held before it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from vision.graduations.cylinder_pose import CylinderPose
from vision.graduations.fit import GraduationFit
from vision.meniscus_image.occlusion import not_of_the_room, occluded, room_share
from vision.parameters import BESIDE_SHARE, NOTHING_UNEXPLAINED_LEVELS, UNEXPLAINED_LEVELS

RADIUS_MM, FOCAL_PX, DISTANCE_MM = 16.0, 1500.0, 250.0
SIZE = (900, 700)  # rows, columns
WALL, BESIDE, LIQUID, SKIN = (170, 180, 185), (140, 150, 120), (190, 90, 110), (150, 112, 95)


def pose(elevation_deg: float = 0.0) -> CylinderPose:
    """A camera that looks at height 0, from above or below."""
    e = np.radians(elevation_deg)
    params = np.array([DISTANCE_MM * np.cos(e), DISTANCE_MM * np.sin(e), 0.0, e, 0.0,
                       np.log(FOCAL_PX)])
    return CylinderPose(params, np.zeros((6, 6)), RADIUS_MM,
                        ((SIZE[1] - 1) / 2, (SIZE[0] - 1) / 2), 0.1)


def seen(view: CylinderPose, hidden: str = "") -> GraduationFit:
    """A ladder of marks a millimetre apart, of which those above or below 0 are hidden."""
    z = np.arange(-30.0, 30.5, 1.0)
    shown = np.where(z > 0, hidden != "above", hidden != "below").astype(float)
    return cast(GraduationFit, SimpleNamespace(pose=view, height_mm=z, shown=shown))


def picture(view: CylinderPose, level_mm: float = 0.0) -> np.ndarray:
    """A tube with liquid up to a level, nothing else."""
    y, x = np.mgrid[:SIZE[0], :SIZE[1]]
    azimuth, z = view.wall_coordinates(np.column_stack([x.ravel(), y.ravel()]).astype(float))
    middle = view.project(view.on_wall(np.zeros(1), np.zeros(1)))[0, 0]
    half = RADIUS_MM * view.px_per_mm(0.0)
    out = np.empty((*SIZE, 3), float)
    out[:] = BESIDE
    inside = (np.abs(x - middle) < half) & np.isfinite(z.reshape(SIZE))
    out[inside] = WALL
    out[inside & (z.reshape(SIZE) < level_mm)] = LIQUID
    out += np.random.default_rng(2).normal(0, 3, out.shape)
    return np.clip(out, 0, 255).astype(np.uint8)


def cover(image: np.ndarray, view: CylinderPose, left_mm: float, right_mm: float,
          slope: float = 0.0) -> np.ndarray:
    """A thing from the height 0 down, so far to both sides of the axis."""
    y, x = np.mgrid[:SIZE[0], :SIZE[1]]
    at = view.project(view.on_wall(np.zeros(1), np.zeros(1)))[0]
    px = view.px_per_mm(0.0)
    out = image.copy()
    held = (y > at[1] + slope * (x - at[0])) & (x > at[0] - left_mm * px) & (
        x < at[0] + right_mm * px) & (y < at[1] + 14 * px)
    out[held] = SKIN
    return out


@pytest.mark.parametrize("elevation_deg", [-20.0, 0.0, 25.0])
def test_the_surface_ends_at_the_wall(elevation_deg):
    view = pose(elevation_deg)
    assert not occluded(picture(view), seen(view), 0.0)


@pytest.mark.parametrize("elevation_deg", [-15.0, 0.0, 15.0])
@pytest.mark.parametrize("slope", [-0.05, 0.0, 0.05])
@pytest.mark.parametrize("ends_mm", [(40.0, 40.0), (14.0, 60.0), (60.0, 14.0)])
def test_a_finger_goes_on_at_one_side_at_least(elevation_deg, slope, ends_mm):
    view = pose(elevation_deg)
    image = cover(picture(view, -40.0), view, *ends_mm, slope)
    assert occluded(image, seen(view, "below"), 0.0)
    # what shows the marks before it is behind the chamber
    assert not occluded(image, seen(view), 0.0)
    assert not occluded(image, seen(view, "above"), 0.0)


def test_a_label_on_the_chamber_alone_is_not_told_apart_here():
    view = pose()
    image = cover(picture(view, -40.0), view, 12.0, 12.0)
    assert not occluded(image, seen(view, "below"), 0.0)


@pytest.mark.parametrize(("down_to_mm", "told"), [(-15.5, True), (-31.0, False), (-6.5, False)])
def test_marks_that_are_seen_again_farther_down_were_hidden_by_a_thing(down_to_mm, told):
    """A dark liquid hides the marks to the bottom; a label or a blot hides few."""
    view = pose()
    fit = seen(view)
    fit.shown[(fit.height_mm < 0) & (fit.height_mm > down_to_mm)] = 0.0
    fit.shown[fit.height_mm == -1.0] = 0.9  # through the soft edge of what is close to the lens
    assert occluded(picture(view), fit, 0.0) == told


def test_an_edge_beside_the_chamber_of_other_colours_is_another_thing():
    """A shelf behind, whose edge happens to be level with the surface."""
    view = pose()
    image = picture(view)
    at = view.project(view.on_wall(np.zeros(1), np.zeros(1)))[0]
    half = int(RADIUS_MM * view.px_per_mm(0.0)) + 3
    for beside in (slice(0, int(at[0]) - half), slice(int(at[0]) + half, None)):
        image[int(at[1]):, beside] = (60, 60, 70)
    assert not occluded(image, seen(view, "below"), 0.0)


@pytest.mark.parametrize("height_mm", [-70.0, 70.0, 400.0])
def test_outside_the_photo_nothing_is_claimed(height_mm):
    view = pose()
    assert not occluded(picture(view), seen(view, "below"), height_mm)


def ruled(view: CylinderPose, image: np.ndarray, through: float) -> np.ndarray:
    """A dark rule on the panel at height 0, from the axis to the right; a share of it is seen
    through the tube."""
    at, px = view.project(view.on_wall(np.zeros(1), np.zeros(1)))[0], view.px_per_mm(0.0)
    y, x = np.mgrid[:SIZE[0], :SIZE[1]]
    on = np.abs(y - at[1]) < 0.5 * px
    inside = np.abs(x - at[0]) < RADIUS_MM * px
    out = image.astype(float)
    out[on & ~inside & (x > at[0])] -= 70.0
    out[on & inside] -= 70.0 * through
    return np.clip(out, 0, 255).astype(np.uint8)


def test_a_rule_behind_an_empty_tube_shows_more_beside_it() -> None:
    view = pose()
    empty = picture(view, -25.0)
    assert room_share(ruled(view, empty, 0.35), seen(view), 0.0) > 2.0
    assert room_share(picture(view, 0.0), seen(view), 0.0) < 0.3


@pytest.mark.parametrize("through", [0.3, 0.6, 0.85])
def test_whatever_share_of_it_an_empty_tube_lets_through_it_is_of_the_room(through: float) -> None:
    view = pose()
    assert room_share(ruled(view, picture(view, -25.0), through), seen(view), 0.0) > BESIDE_SHARE


@pytest.mark.parametrize("through", [0.3, 0.85])
def test_a_surface_that_changes_as_much_as_what_ends_beside_it_is_not(through: float) -> None:
    view = pose()
    assert room_share(ruled(view, picture(view, 0.0), through), seen(view), 0.0) < BESIDE_SHARE


def shelf(view: CylinderPose, image: np.ndarray, through: float) -> np.ndarray:
    """Below height 0 the room is darker; a share of that is seen through the tube."""
    at, px = view.project(view.on_wall(np.zeros(1), np.zeros(1)))[0], view.px_per_mm(0.0)
    y, x = np.mgrid[:SIZE[0], :SIZE[1]]
    inside = np.abs(x - at[0]) < RADIUS_MM * px
    out = image - (y > at[1])[..., None] * np.where(inside, through, 1.0)[..., None] * [60, 80, 40]
    return np.asarray(np.clip(out, 0, 255)).astype(np.uint8)


@pytest.mark.parametrize("through", [0.3, 0.6, 1.0])
def test_what_stands_behind_an_empty_tube_is_explained_by_what_is_beside_it(through: float) -> None:
    view = pose()
    empty = picture(view, -25.0)
    for image in (shelf(view, empty, through), ruled(view, empty, through)):
        assert not_of_the_room(image, seen(view), 0.0) < NOTHING_UNEXPLAINED_LEVELS


def test_a_colour_that_the_room_does_not_have_is_not() -> None:
    view = pose()
    for image in (picture(view), ruled(view, picture(view), 0.3), shelf(view, picture(view), 0.3)):
        assert not_of_the_room(image, seen(view), 0.0) > 2 * UNEXPLAINED_LEVELS
    assert np.isnan(not_of_the_room(picture(view), seen(view), 400.0))


def test_a_surface_before_a_rule_is_still_more_than_the_rule() -> None:
    view = pose()
    assert room_share(ruled(view, picture(view, 0.0), 0.35), seen(view), 0.0) < 1.0

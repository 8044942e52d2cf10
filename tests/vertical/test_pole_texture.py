"""The lean of a pole from its stripes, on poles drawn here by ray geometry alone."""

from __future__ import annotations

import numpy as np
import pytest
from level_rooms import scene

from vision.fiducials.pose import camera_matrix
from vision.level.cues import gather_cues
from vision.level.inputs import level_inputs
from vision.level.locate import locate_cards
from vision.vertical.cue import line_plane
from vision.vertical.pole_texture import follow_band

WIDTH, HEIGHT, FOCAL = 500, 1400, 1100.0
CAMERA = np.array([[FOCAL, 0, (WIDTH - 1) / 2], [0, FOCAL, (HEIGHT - 1) / 2], [0, 0, 1.0]])
RADIUS_MM = 13.0


def axis_of(sideways_deg: float, towards_deg: float) -> np.ndarray:
    a = np.array([np.tan(np.radians(sideways_deg)), 1.0, np.tan(np.radians(towards_deg))])
    return a / np.linalg.norm(a)


def shiny(s: np.ndarray) -> np.ndarray:
    """Light of a pole over the distance of the ray from its axis, in radii."""
    return 0.25 + 0.1 * s + 0.5 * np.exp(-0.5 * ((s - 0.35) / 0.12) ** 2) + 0.25 * np.exp(
        -0.5 * ((s + 0.6) / 0.06) ** 2)


def photo(axis: np.ndarray, seed: int, look=shiny, tone=lambda y: 1.0,  # type: ignore[no-untyped-def]
          wall_light: float = 0.45) -> np.ndarray:
    """(H, W, 3) uint8 of a pole through (20, 0, 1500) mm before a wall.

    Each ray is judged by how far it passes the axis: at most a radius, and it meets the
    pole; the point that it meets lies on the same line along the pole for the same distance.
    """
    k = 3
    x = (np.arange(WIDTH * k) + 0.5) / k - 0.5
    y = np.arange(HEIGHT, dtype=float)
    gx, gy = np.meshgrid((x - CAMERA[0, 2]) / FOCAL, (y - CAMERA[1, 2]) / FOCAL)
    rays = np.dstack([gx, gy, np.ones_like(gx)])
    normal = np.cross(rays, axis)
    s = (normal / np.linalg.norm(normal, axis=2, keepdims=True)) @ np.array([20, 0, 1500.0])
    s /= RADIUS_MM
    wall = wall_light + 0.1 * gy
    light = np.where(np.abs(s) < 1, look(s) * np.vectorize(tone)(y)[:, None], wall)
    light = light.reshape(HEIGHT, WIDTH, k).mean(axis=2)
    rng = np.random.default_rng(seed)
    light = np.clip(light + rng.normal(0, 0.01, light.shape), 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.repeat(np.rint(255 * code).astype(np.uint8)[..., None], 3, axis=2)


def rough_lines(axis: np.ndarray, part: float, off_px: float) -> tuple[np.ndarray, np.ndarray]:
    """Lines at ``part`` of the radius, with one end moved by some pixels."""
    side = np.cross(axis, [0, 0, 1.0])
    side /= np.linalg.norm(side)
    lines = []
    for sign in (-1, 1):
        p = np.array([20, 0, 1500.0]) - sign * part * RADIUS_MM * side
        ends = np.array([p + t * axis for t in (-600, 600)]) @ CAMERA.T
        lines.append(ends[:, :2] / ends[:, 2:] + np.array([[0, 0], [off_px, 0]]))
    lines.sort(key=lambda line: float(line[:, 0].mean()))
    return lines[0], lines[1]


def lean_deg(left: np.ndarray, right: np.ndarray) -> float:
    """Lean towards the phone of the direction in which the planes of two lines meet."""
    a = np.cross(line_plane(left, CAMERA), line_plane(right, CAMERA))
    return float(np.degrees(np.arctan2(a[2] * np.sign(a[1]), abs(a[1]))))


@pytest.mark.slow
@pytest.mark.parametrize("towards_deg", [-2.0, -0.4, 0.0, 1.5])
@pytest.mark.parametrize("part", [0.7, 1.0])
def test_the_lean_towards_the_phone_is_seen_though_the_lines_are_rough(towards_deg, part):
    axis = axis_of(0.8, towards_deg)
    left, right = rough_lines(axis, part, 2.5)
    right = right + np.array([[0.9, 0], [-0.7, 0]])
    before = abs(lean_deg(left, right) - towards_deg)
    band = follow_band(photo(axis, 3), left, right, None)
    assert band is not None
    found = lean_deg(band.left_px, band.right_px)
    more = lean_deg(band.left_px + np.array([[0, 0], [-band.sd_px, 0]]),
                    band.right_px + np.array([[0, 0], [band.sd_px, 0]]))
    # Four ends of one sd each make twice what two of them make together: 2 x the sd here.
    sd = 2 * abs(more - found)
    assert abs(found - towards_deg) < min(3 * sd, 0.5)
    assert before > 2.0, "the lines that were given did not show it"


@pytest.mark.slow
def test_what_covers_the_pole_is_left_out():
    axis = axis_of(0.0, 1.0)
    rgb = photo(axis, 5)
    rgb[500:900, 150:400] = 30
    left, right = rough_lines(axis, 1.0, 1.0)
    band = follow_band(rgb, left, right, (500.0, 900.0))
    assert band is not None
    assert lean_deg(band.left_px, band.right_px) == pytest.approx(1.0, abs=0.5)


@pytest.mark.slow
@pytest.mark.parametrize("brightest", [0.9, 1.4])
def test_a_pole_that_is_darker_below_leans_no_further(brightest):
    # Before a wall that stays as it is, also where the brightest stripe is clipped above.
    axis = axis_of(0.3, 0.0)
    rgb = photo(axis, 6, look=lambda s: shiny(s) * brightest / 0.8,
                tone=lambda y: 1.0 if y < 600 else 0.5)
    left, right = rough_lines(axis, 1.0, 0.0)
    band = follow_band(rgb, left, right, None)
    assert band is not None and band.sd_px < 0.15
    assert abs(lean_deg(band.left_px, band.right_px)) < 0.5


# Before a wall that is clipped to white on either side only what is seen on the pole tells its
# lean; a pole of one smooth shade tells nothing.
@pytest.mark.slow
@pytest.mark.parametrize("off_px", [-1.0, 1.0])
def test_before_a_clipped_wall_the_stripes_of_a_pole_tell_its_lean(monkeypatch, off_px):
    monkeypatch.setitem(globals(), "RADIUS_MM", 17.0)
    axis = axis_of(0.0, 0.0)
    left, right = rough_lines(axis, 1.0, 0.0)
    right = right + np.array([[off_px, 0], [-off_px, 0]])
    assert abs(lean_deg(left, right)) > 5.0
    band = follow_band(photo(axis, 7, wall_light=1.3), left, right, None)
    assert band is not None
    assert abs(lean_deg(band.left_px, band.right_px)) < 0.5


@pytest.mark.slow
@pytest.mark.parametrize("off_px", [-2.0, 2.0])
def test_before_a_clipped_wall_a_smooth_pole_does_not_keep_the_lean_it_was_given(off_px):
    axis = axis_of(0.0, 0.0)
    rgb = photo(axis, 7, look=lambda s: 0.4 + 0.15 * s - 0.1 * s**2, wall_light=1.3)
    left, right = rough_lines(axis, 1.0, 0.0)
    right = right + np.array([[off_px, 0], [-off_px, 0]])
    assert abs(lean_deg(left, right)) > 10.0
    band = follow_band(rgb, left, right, None)
    assert band is None or abs(lean_deg(band.left_px, band.right_px)) < 2.0


@pytest.mark.slow
@pytest.mark.parametrize("seed, index", [
    (20311701, 33),  # panel and card hang 2.4 degrees off it, its upper part is the brighter one
    (61803501, 14)])  # the panel that covers it is not seen
def test_a_drawn_pole_leans_as_it_was_drawn(seed, index):
    room, label = scene(seed, index, "cards")
    gathered = gather_cues(locate_cards(room, level_inputs(room)))
    pole = next(c for c in gathered.by_pose[0].cues if c.name == "pole")
    camera = camera_matrix(label["focal_px"], label["width"], label["height"])
    axis = np.cross(line_plane(pole.lines_px[0], camera), line_plane(pole.lines_px[1], camera))
    off = abs(axis @ np.array(label["pole_axis_camera"])) / np.linalg.norm(axis)
    assert np.degrees(np.arccos(min(off, 1.0))) < 0.7


def test_a_band_without_stripes_says_nothing():
    rng = np.random.default_rng(1)
    rgb = rng.integers(100, 110, (HEIGHT, WIDTH, 3)).astype(np.uint8)
    left, right = rough_lines(axis_of(0, 0), 1.0, 0.0)
    assert follow_band(rgb, left, right, None) is None


@pytest.mark.slow
def test_pieces_that_show_different_things_say_nothing():
    rng = np.random.default_rng(2)
    rgb = np.repeat(np.repeat(rng.integers(0, 255, (HEIGHT // 20, WIDTH // 5, 3)), 20, axis=0), 5,
                    axis=1).astype(np.uint8)
    left, right = rough_lines(axis_of(0, 0), 1.0, 0.0)
    assert follow_band(rgb, left, right, None) is None


@pytest.mark.slow
def test_a_pole_out_of_the_photo_says_nothing():
    left, right = rough_lines(axis_of(0, 0), 1.0, 0.0)
    rgb = photo(axis_of(0, 0), 1)
    assert follow_band(rgb, left - [400, 0], right - [400, 0], None) is None

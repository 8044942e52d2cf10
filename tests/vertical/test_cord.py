"""A slanted line that passes behind the bob of a hanging cord is no cord."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from level_rooms import scene

from vision.level.read import read_level
from vision.vertical.cord import find_cord
from vision.vertical.line_segments import upright_edges


def wall_with(*lines: tuple[tuple[int, int], tuple[int, int]], bob: tuple[int, int]) -> np.ndarray:
    """(800, 600, 3) uint8 of a pale wall with dark lines and one round bob."""
    rgb = np.full((800, 600, 3), 200, np.uint8)
    for start, end in lines:
        cv2.line(rgb, start, end, (40, 40, 40), 3, cv2.LINE_AA)
    cv2.circle(rgb, bob, 12, (90, 60, 30), -1, cv2.LINE_AA)
    noise = np.random.default_rng(1).normal(0, 2, rgb.shape)
    return np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.7) + noise, 0, 255).astype(np.uint8)


def cord_in(rgb: np.ndarray):  # type: ignore[no-untyped-def]
    gray = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    return find_cord(gray, upright_edges(rgb, np.array([0.0, 1.0, 0.0])), 1.2)[0]


def test_a_cord_that_ends_in_its_bob_is_found():
    cue = cord_in(wall_with(((300, 200), (300, 588)), bob=(300, 600)))
    assert cue is not None
    assert abs(np.diff(cue.lines_px[0][:, 0])[0]) < 1.0


def test_a_line_that_goes_on_below_a_bob_is_none():
    assert cord_in(wall_with(((330, 150), (296, 740)), bob=(300, 600))) is None


def test_the_side_of_a_tube_whose_foot_sticks_out_is_none():
    alone = wall_with(((300, 200), (300, 588)), bob=(300, 600))
    tube = wall_with(((300, 200), (300, 588)), ((350, 200), (350, 588)), bob=(300, 600))
    other = wall_with(((300, 200), (300, 588)), ((350, 60), (350, 380)), bob=(300, 600))
    assert cord_in(alone) is not None and cord_in(other) is not None
    assert cord_in(tube) is None


def test_a_cord_beside_the_side_of_a_panel_of_its_own_length_is_found():
    # Not the two walls of a tube: the panel is as long by chance, and a border, no thin line.
    rgb = wall_with(((300, 200), (300, 588)), bob=(300, 600))
    rgb[200:588, 340:480] = (150, 170, 160)
    assert cord_in(rgb) is not None


def test_a_line_along_the_middle_of_a_tube_is_none():
    # A gleam or a row of ink, with a border as long on either side.
    rgb = wall_with(((300, 200), (300, 588)), bob=(300, 600))
    rgb[200:588, 275:290] = rgb[200:588, 310:325] = 150
    assert cord_in(rgb) is None


@pytest.mark.slow
def test_a_cable_that_ends_behind_a_head_is_none():
    # Beside the cable the outline of the head slopes away to one side only.
    photo, label = scene(9101, 91, "nogravity")
    assert not label["cord"]
    assert "hanging cord" not in read_level(photo).gravity_from


def test_a_cord_before_the_border_of_a_board_is_found():
    rgb = wall_with(((300, 200), (300, 588)), bob=(300, 600))
    behind = np.full((800, 600, 3), 200, np.uint8)
    behind[260:, 301:500] = 110
    bare = wall_with(bob=(-50, -50))
    alone = np.abs(rgb.astype(int) - bare) > 15
    rgb = np.where(alone, rgb, behind)
    cue = cord_in(rgb)
    assert cue is not None
    assert abs(np.diff(cue.lines_px[0][:, 0])[0]) < 2.0
    # The border pulls at the middle of the cord: more is left open than before an even wall.
    assert cue.line_sd_px[0] > 0.3


def test_a_bob_below_the_line_of_the_floor_is_found():
    rgb = wall_with(((300, 200), (300, 588)), bob=(300, 600))
    floor = rgb[581:]
    floor[np.abs(floor.astype(int).mean(axis=2) - 200) < 12] = (150, 120, 110)
    assert cord_in(rgb) is not None


def test_a_border_of_two_tones_with_a_bob_at_its_end_is_none():
    # There is no line darker or brighter than both sides: nothing hangs there.
    rgb = wall_with(bob=(300, 600))
    rgb[200:588, 300:420] = 235
    assert cord_in(rgb) is None


def test_a_stripe_on_a_pole_that_goes_behind_a_panel_is_none():
    rgb = wall_with(bob=(-50, -50))
    rgb[:588, 285:315], rgb[:588, 297:302] = 110, 60
    rgb[588:, 200:420] = (205, 180, 190)
    assert cord_in(rgb) is None


# Before the end of a picture, and beside a panel's side that goes on below the bob.
@pytest.mark.slow
@pytest.mark.parametrize("number", [93, 13])
def test_a_cord_among_other_things_is_found(number):
    photo, label = scene(91000001, number, "cards")
    assert label["cord"]
    assert "hanging cord" in read_level(photo).gravity_from

"""Which lines are the sides of the panel: they part two tones and are as long as one another."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from level_rooms import scene

from vision.fiducials.pose import CardPose
from vision.level.read import read_level
from vision.vertical.line_segments import StraightEdge
from vision.vertical.panel import _as_long, _endless, _twist
from vision.vertical.tone_steps import step_share

pytestmark = pytest.mark.slow


def edge(x: float, top: float, low: float) -> StraightEdge:
    return StraightEdge(np.array([[x, top], [x, low]]), ((0.0, 1.0),), 1, 0.06)


def wall(noise: float = 2.0) -> np.ndarray:
    """(800, 600, 3) uint8: a pale board from x = 200 to 400, y = 200 to 600, a cable at 500."""
    rgb = np.full((800, 600, 3), (200, 196, 190), np.uint8)
    rgb[200:601, 200:401] = (206, 206, 206)
    cv2.line(rgb, (500, 0), (500, 800), (40, 40, 40), 3, cv2.LINE_AA)
    grain = np.random.default_rng(5).normal(0, noise, rgb.shape)
    return np.clip(rgb + grain, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("x, top, low, share", [
    (199.5, 200, 600, 1.0), (199.5, 0, 800, 0.5), (499.5, 0, 800, 0.0), (100, 0, 800, 0.0),
    (199.5, 700, 705, 0.0)])
def test_the_share_of_a_line_that_parts_two_tones(x, top, low, share):
    assert step_share(wall(), edge(x, top, low).ends_px, top, low, 2.0) == pytest.approx(
        share, abs=0.06)


def test_noise_parts_no_tones():
    grain = np.random.default_rng(6).normal(120, 25, (800, 600, 3))
    rgb = np.clip(grain, 0, 255).astype(np.uint8)
    assert step_share(rgb, edge(300, 0, 800).ends_px, 0, 800, 2.0) < 0.1


def test_outside_of_the_photo_nothing_is_seen():
    assert step_share(wall(), edge(700, 0, 800).ends_px, 0, 800, 2.0) == 0.0
    assert step_share(wall(), edge(200, -400, -100).ends_px, -400, -100, 2.0) == 0.0


def test_the_sides_of_a_board_are_as_long_as_one_another():
    rgb = wall()
    assert _as_long(rgb, edge(199.5, 205, 590), edge(400.5, 210, 595), 2.0)
    # Of the one side only a part was found, but it goes on.
    assert _as_long(rgb, edge(199.5, 205, 330), edge(400.5, 210, 595), 2.0)
    rgb[:, 100:200] = rgb[:, 40:140]
    rgb[350:450, 100:401] = 230  # a picture behind the board's left half
    assert not _as_long(rgb, edge(99.5, 350, 449), edge(400.5, 210, 595), 2.0)


@pytest.mark.parametrize("left, right, endless", [
    ((0, 799), (2, 798), True),       # a door, 727 mm of it
    ((0, 799), (3, 690), True),       # a door of which one side is lost before the floor
    ((200, 600), (190, 620), False), ((200, 799), (190, 799), False), ((0, 600), (0, 590), False),
    ((0, 690), (10, 799), True)])
def test_what_ends_neither_above_nor_below_is_no_hung_panel(left, right, endless):
    assert _endless(800, edge(200, *left), edge(400, *right), 1.1) is endless
    # From near by a panel fills the photo.
    assert not _endless(800, edge(200, *left), edge(400, *right), 2.5)


@pytest.mark.parametrize("turn_deg, laid_deg", [(15.0, 0.0), (-15.0, 0.0), (15.0, 3.0), (0.0, 3.0)])
def test_how_sides_converge_is_no_turn_of_the_card(turn_deg, laid_deg):
    # A board that is seen from beside with a card on it; each side is seen a little askew, which
    # tips the place where they meet towards the phone by some degrees.
    turn, laid = np.radians([turn_deg, laid_deg])
    cos, sin = np.cos(turn), np.sin(turn)
    board = np.array([[cos, 0, -sin], [0, -1.0, 0], [-sin, 0, -cos]])  # upright, facing the phone
    own = np.array([[np.cos(laid), -np.sin(laid), 0], [np.sin(laid), np.cos(laid), 0], [0, 0, 1.0]])
    middle = np.array([0.0, 0, 1000.0])
    camera = np.array([[1200.0, 0, 300], [0, 1200.0, 400], [0, 0, 1.0]])
    lines = []
    for sign in (-1, 1):
        ends = np.array([middle + board @ [sign * 75.0, y, 0] for y in (200.0, -200.0)]) @ camera.T
        lines.append(ends[:, :2] / ends[:, 2:] - [[sign * 0.8, 0], [0, 0]])
    sides = [StraightEdge(line, ((0.0, 1.0),), 1, 0.3) for line in lines]
    pose = CardPose(board @ own, middle, np.diag([1e-4] * 6), 0.0)
    assert _twist(sides[0], sides[1], pose, camera) == pytest.approx(laid_deg, abs=0.3)


@pytest.mark.parametrize("index", [123, 175, 255])
def test_a_door_behind_the_panel_does_not_tip_the_vertical(index):
    # 123, 175: both sides of a door; 255: sides that converge by 4.5 degrees too much.
    photo, label = scene(61803501, index, "cards")
    reading = read_level(photo)
    low, high = (10 * v for v in reading.interval_cm)
    assert low < label["true_offset_mm"] < high
    assert abs(10 * reading.offset_cm - label["true_offset_mm"]) < 10


@pytest.mark.parametrize("index", [32, 86, 120])
def test_a_cord_a_door_or_a_picture_is_no_side_of_the_panel(index):
    # 32: the cord crosses the panel's side; 86: a door far to the left; 120: a picture and the
    # panel burnt out to one white.
    photo, label = scene(9401, index, "cards", False)
    reading = read_level(photo)
    cords = [line for name, line in reading.scene.cues if name == "hanging cord"]
    sides = [line for name, line in reading.scene.cues if name == "hung panel"]
    for side in sides:
        for cord in cords:
            assert np.abs(side[:, 0] - cord[:, 0]).max() > 5
    error_mm = 10 * reading.offset_cm - label["true_offset_mm"]
    assert abs(error_mm) < 3 * 10 * reading.standard_uncertainty_cm

"""Which way is square to the wall: told by level edges, and what a stated depth makes of it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.fiducials.pose import CardPose, camera_matrix
from vision.level.facing import TURNS_DEG, Facing, facing_of, turned_ahead
from vision.level.fuse import Placed, Scenario
from vision.parameters import AXIS_SD_DEG, PANEL_FACES_SD_DEG
from vision.vertical.cue import PlumbCue
from vision.vertical.fusion import fuse

CAMERA = camera_matrix(1100.0, 1000, 750)


def looking(turn_deg: float, pitch_deg: float) -> np.ndarray:
    """(3, 3) rotation from a room (x along the wall, y down, z into it) to a camera that is turned
    to the left of square and looks down."""
    turn = cv2.Rodrigues(np.radians([0.0, turn_deg, 0.0]))[0]
    return np.asarray(cv2.Rodrigues(np.radians([pitch_deg, 0.0, 0.0]))[0] @ turn)


def room(rotation: np.ndarray, heights_mm) -> np.ndarray:
    """(750, 1000, 3) a wall with long level bands below one another, seen by the camera."""
    picture = np.full((750, 1000, 3), 200, np.uint8)
    for k, (top, foot) in enumerate(heights_mm):
        corners = np.array([[-500.0, top, 1200], [500, top, 1200], [500, foot, 1200],
                            [-500, foot, 1200]])
        px = cv2.projectPoints(corners, cv2.Rodrigues(rotation)[0], np.zeros(3), CAMERA, None)[0]
        cv2.fillPoly(picture, [np.rint(px * 16).astype(np.int32)], (90 + 30 * k,) * 3,
                     cv2.LINE_AA, shift=4)
    return picture


def sd_deg(facing: Facing) -> float:
    mean = np.degrees(facing.turn_rad)
    return float(np.sqrt(facing.probability @ (TURNS_DEG - mean) ** 2))


@pytest.mark.parametrize("turn_deg", [-9.0, 0.0, 12.0])
def test_edges_of_a_bed_say_how_the_phone_is_turned(turn_deg):
    rotation = looking(turn_deg, 6.0)
    seen = facing_of(room(rotation, [(180, 260), (300, 420), (470, 530)]), CAMERA,
                     rotation[:, 1], None, None, 60.0)
    assert np.degrees(seen.turn_rad) == pytest.approx(turn_deg, abs=sd_deg(seen))
    near = np.abs(TURNS_DEG - turn_deg) < 4  # where a third of the prior lies, at most
    assert seen.probability[near].sum() > 0.7 and seen.edges >= 4
    # The wall's own direction in the camera's frame, by the rotation alone.
    assert turned_ahead(rotation[:, 1], np.radians(turn_deg)) == pytest.approx(rotation[:, 2])


def test_edges_at_eye_level_say_nothing():
    rotation = looking(12.0, 0.0)
    seen = facing_of(room(rotation, [(-9, 9)]), CAMERA, rotation[:, 1], None, None, 60.0)
    assert seen.edges > 0 and sd_deg(seen) > 0.8 * AXIS_SD_DEG


def test_without_an_edge_the_camera_s_axis_and_the_panel_are_weighed():
    blank = np.full((750, 1000, 3), 200, np.uint8)
    down = np.array([0.0, 1.0, 0.0])
    alone = facing_of(blank, CAMERA, down, None, None, 60.0)
    assert alone.edges == 0 and alone.turn_rad == pytest.approx(0.0, abs=1e-6)
    assert sd_deg(alone) == pytest.approx(AXIS_SD_DEG, rel=0.02)
    card = cv2.Rodrigues(np.radians([0.0, -10.0, 0.0]))[0] @ np.diag([1.0, -1.0, -1.0])
    pose = CardPose(card, np.array([0.0, 0.0, 1000.0]), np.eye(6) * 1e-6, 0.0)
    both = facing_of(blank, CAMERA, down, pose, None, 60.0)
    # Two normal laws by the inverse of their variances (JCGM 100:2008, weighted mean).
    weights = 1 / np.square([AXIS_SD_DEG, PANEL_FACES_SD_DEG])
    away = np.degrees(np.arctan2(-card[0, 2], -card[2, 2]))
    assert abs(away) == pytest.approx(10.0)
    assert np.degrees(both.turn_rad) == pytest.approx(away * weights[1] / weights.sum(), abs=0.2)
    assert sd_deg(both) == pytest.approx(1 / np.sqrt(weights.sum()), rel=0.03)


def test_a_depth_square_to_the_wall_places_the_landmark_where_it_is():
    # The room's own coordinates: the landmark 600 mm to the left, 80 lower, 150 nearer.
    rotation, from_camera = looking(11.0, 12.0), np.array([250.0, 220.0, 1100.0])
    zero, landmark = (rotation @ (from_camera + d) for d in ([0.0, 0, 0], [-600.0, 80, -150]))
    pose = CardPose(rotation @ np.diag([1.0, -1.0, -1.0]), zero, np.eye(6) * 1e-8, 0.0)
    down = PlumbCue("phone sensor", direction=rotation[:, 1], direction_sd_deg=0.01,
                    sideways_deg=0.01, outwards_deg=0.01)
    told = Scenario(0.0, 1100.0, fuse([down], CAMERA, rotation[:, 1]), Placed(pose=pose),
                    Placed(ray=landmark / landmark[2], depth_mm=150.0), np.radians(11.0))
    assert told.offset_mm == pytest.approx(80.0, abs=0.01)
    by_axis = Scenario(0.0, 1100.0, told.gravity, told.zero, told.landmark)
    assert abs(by_axis.offset_mm - 80.0) > 15


def hung_picture(rotation: np.ndarray, roll_deg: float, colour: tuple[int, int, int]) -> np.ndarray:
    """(750, 1000, 3) a wall with one picture, off level by ``roll_deg``, above the eye."""
    picture = np.full((750, 1000, 3), 200, np.uint8)
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    turn = np.array([[c, s], [-s, c]])
    flat = np.array([[-200.0, -80], [200, -80], [200, 80], [-200, 80]]) @ turn
    corners = np.column_stack([flat[:, 0], flat[:, 1] - 330, np.full(4, 1200.0)])
    px = cv2.projectPoints(corners, cv2.Rodrigues(rotation)[0], np.zeros(3), CAMERA, None)[0]
    cv2.fillPoly(picture, [np.rint(px * 16).astype(np.int32)], colour, cv2.LINE_AA, shift=4)
    return picture


@pytest.mark.parametrize("roll_deg", [-6.0, -4.0, 4.0, 6.0, 8.0])
def test_a_crooked_picture_leaves_the_truth_possible(roll_deg):
    """It reads as a wall turned by as much over the sine of its height, by 13 degrees in one room;
    that its sides are not plumb shows it."""
    rotation = looking(10.0, -8.0)
    seen = facing_of(hung_picture(rotation, roll_deg, (30, 90, 190)), CAMERA, rotation[:, 1], None,
                     None, 60.0)
    assert seen.edges == 2
    for side in (TURNS_DEG <= 10.0, TURNS_DEG >= 10.0):
        assert seen.probability[side].sum() > 0.05
    assert sd_deg(seen) > 0.8 * AXIS_SD_DEG


def test_a_straight_picture_tells_and_each_of_its_edges_once():
    """In all three colour planes it is seen; a witness may not speak three times."""
    rotation = looking(10.0, -8.0)
    grey, coloured = (facing_of(hung_picture(rotation, 0.0, c), CAMERA, rotation[:, 1], None, None,
                                60.0) for c in ((60, 60, 60), (30, 90, 190)))
    assert grey.edges == coloured.edges == 2
    assert coloured.probability == pytest.approx(grey.probability, abs=2e-3)
    assert np.degrees(coloured.turn_rad) > 2.0

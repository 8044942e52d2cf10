"""Several photos of the same cards: bodies seen from two places, what is shared, what is moved."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from vision.errors import InputError
from vision.fiducials.pose import CardPose, camera_matrix
from vision.imaging.photo import load_photo, photo_from_array
from vision.level.evidence import LevelEvidence
from vision.level.fuse import FusedGravity, Placed, Scenario
from vision.level.inputs import level_inputs
from vision.level.offset import estimate_offset
from vision.level.read import read_level
from vision.level.together import combine_levels
from vision.synthetic.bedside import level_set
from vision.synthetic.bedside.geometry import View, turn_x, turn_y, turn_z
from vision.synthetic.bedside.world import random_world
from vision.vertical.cue import cue_of
from vision.vertical.fusion import fuse

SIZE = (2000, 1500)
FOCAL = 1600.0
ZERO = np.array([0.0, 0.0, 0.0])
LANDMARK = np.array([500.0, -40.0, 300.0])  # 30 cm nearer to the phone than the zero reference
TRUTH_MM = 40.0
PICTURE = photo_from_array(np.zeros((60, 80, 3), np.uint8))


def eye(azimuth_deg: float, elevation_deg: float = 4.0) -> View:
    """A phone 1.3 m from the middle of both points."""
    middle = (ZERO + LANDMARK) / 2
    back = turn_y(azimuth_deg) @ turn_x(-elevation_deg) @ np.array([0, 0, 1.0])
    right = np.cross(-back, [0, 1.0, 0])
    right /= np.linalg.norm(right)
    return View(middle + 1300 * back, np.array([right, np.cross(-back, right), -back]), FOCAL,
                *SIZE)


def pose_of(view: View, turn: np.ndarray, centre: np.ndarray) -> CardPose:
    """A card whose tilt is known to 0.2 degrees, its turn in the picture to 0.05."""
    covariance = np.diag([*np.radians([0.2, 0.2, 0.05]) ** 2, 0.2**2, 0.2**2, 1.0])
    return CardPose(view.axes @ turn, view.to_camera(centre)[0], covariance, 0.0)


def photo_of(view: View, panel_deg: tuple[float, float] = (0.0, 2.0), *, cord: bool = True,
             pole_deg: tuple[float, float] | None = None, landmark: np.ndarray = LANDMARK,
             name: str = "") -> LevelEvidence:
    """What the stages would say of a room whose panel leans (sideways, outwards)."""
    turn = turn_x(panel_deg[1]) @ turn_z(panel_deg[0])
    zero = pose_of(view, turn, ZERO)
    tip = np.array([35.0, 0.0, 0.0])
    held = pose_of(view, np.eye(3), landmark + tip)
    cues = [cue_of("hung panel", [], zero)]

    def line(at: np.ndarray, down: np.ndarray) -> tuple[np.ndarray, float]:
        return view.project(np.array([at - 150 * down, at + 150 * down])), 0.1

    if cord:
        cues.append(cue_of("hanging cord", [line(np.array([-120.0, 0, 20]),
                                                 np.array([0, -1.0, 0]))]))
    if pole_deg is not None:
        axis = turn_z(pole_deg[0]) @ turn_x(pole_deg[1]) @ np.array([0, -1.0, 0])
        cues.append(cue_of("pole", [line(np.array([x, 0, -40.0]), axis) for x in (-12.0, 12.0)]))
    camera = camera_matrix(FOCAL, *SIZE)
    photo = replace(PICTURE, name=name, sha256=f"{name}-{view.position}-{landmark}")
    inputs = level_inputs(photo)
    cards = SimpleNamespace(
        picture=SimpleNamespace(working_size=SIZE, to_full=lambda xy: np.asarray(xy)),
        inputs=inputs, camera=lambda _: camera, strategy="", doubled=None, missing="",
        all=lambda: [SimpleNamespace(corners_px=np.zeros((4, 2)), side_px=80.0)])
    gathered = SimpleNamespace(for_pose=lambda _: cues, focal_known=True,
                               focals=[SimpleNamespace(focal_px=FOCAL)])
    gravity = fuse(cues, camera, -zero.rotation[:, 1])
    assert gravity is not None
    fused = FusedGravity((Scenario(0.0, FOCAL, gravity, Placed(zero), Placed(
        held, inputs.landmark.reference_mm)),))
    return LevelEvidence(photo, inputs, cards, gathered, fused,  # type: ignore[arg-type]
                         estimate_offset(cards, fused))  # type: ignore[arg-type]


def half_mm(reading) -> float:
    return 5.0 * (reading.interval_cm[1] - reading.interval_cm[0])


def test_a_cord_from_two_places_gives_the_vertical_in_full():
    one, other = photo_of(eye(-10), name="a"), photo_of(eye(10), name="b")
    alone, together = combine_levels([one]), combine_levels([one, other])
    # Two planes through a line meet in it (plane geometry): the cross product of their normals.
    normals = []
    for view in (eye(-10), eye(10)):
        p = view.project(np.array([[-120.0, 150, 20], [-120.0, -150, 20]]))
        rays = np.column_stack([(p - (np.array(SIZE) - 1) / 2) / FOCAL, np.ones(2)]) @ view.axes
        normals.append(np.cross(rays[0], rays[1]))
    axis = np.cross(*normals)
    assert abs(axis[1]) / np.linalg.norm(axis) == pytest.approx(1.0, abs=1e-9)
    # The panel leans two degrees towards the phone: over 30 cm of depth 10 mm, mostly believed
    # by one photo.
    assert abs(10 * alone.offset_cm - TRUTH_MM) > 6
    assert 10 * together.offset_cm == pytest.approx(TRUTH_MM, abs=2.5)
    assert half_mm(together) < 0.55 * half_mm(alone)
    low, high = together.interval_cm
    assert low < TRUTH_MM / 10 < high


def test_two_photos_from_one_place_tell_what_one_tells():
    one, again = photo_of(eye(-10), name="a"), photo_of(eye(-10), name="b")
    alone, together = combine_levels([one]), combine_levels([one, again])
    assert half_mm(together) == pytest.approx(half_mm(alone), rel=0.12)
    assert together.offset_cm == pytest.approx(alone.offset_cm, abs=0.15)


def test_a_pole_leans_the_same_in_all_photos():
    # JCGM 100:2008, 5.2.2: what is shared does not average away.  The pole is off plumb by half a
    # degree (one sd) in any direction; however many photos show it, the points lie 580 mm apart.
    room = dict(panel_deg=(0.0, 0.0), cord=False, pole_deg=(0.0, 0.0))
    photos = [photo_of(eye(a), **room, name=str(a)) for a in (-20, -10, 0, 10, 20)]
    across = math.hypot(LANDMARK[0], LANDMARK[2])
    # the panel, half a degree sideways and 1.2 outwards, is the only other witness
    pole, panel = (np.radians(0.5) * np.ones(2), np.radians([0.5, 1.2]))
    along = np.array([LANDMARK[0], LANDMARK[2]]) / across
    least = math.sqrt(float(along**2 @ (1 / (1 / pole**2 + 1 / panel**2)))) * across
    together = combine_levels(photos)
    assert half_mm(together) > 1.96 * least
    assert half_mm(together) < 1.35 * 1.96 * math.hypot(least, 1.2)  # 1.2 mm: placing the cards
    by_two = combine_levels(photos[::4])
    assert half_mm(together) > 0.85 * half_mm(by_two)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_the_order_of_the_photos_does_not_matter(order):
    photos = [photo_of(eye(a), pole_deg=(0.3, -0.4), name=str(a)) for a in (-12, 3, 15)]
    first, again = combine_levels(photos), combine_levels([photos[k] for k in order])
    assert (again.offset_cm, again.interval_cm) == (first.offset_cm, first.interval_cm)
    assert [p.name for p in again.photos] == [photos[k].photo.name for k in order]
    assert again.photos[again.drawn_on].name == first.photos[first.drawn_on].name


@pytest.mark.parametrize("by_mm", [-40.0, 25.0])
def test_what_was_moved_between_the_photos_is_told(by_mm):
    still, moved = photo_of(eye(-8), name="a"), photo_of(
        eye(9), landmark=LANDMARK + np.array([0, by_mm, 0]), name="b")
    reading = combine_levels([still, moved])
    assert reading.status == "refused" and reading.flags == ("photos-disagree",)
    assert reading.offset_cm is None and reading.interval_cm is None and not reading.budget
    assert "moved between them" in reading.reasons[0]
    assert reading.agreement.p_value < 1e-3
    assert "Cannot tell" in reading.sentence


def test_a_line_that_is_another_body_does_not_spoil_the_rest():
    # In one photo a cable that leans four degrees is taken for the cord.
    good = [photo_of(eye(a), name=str(a)) for a in (-12, 12)]
    false = photo_of(eye(12), name="12")
    view, axis = eye(12), turn_z(4.0) @ np.array([0, -1.0, 0])
    ends = np.array([[-160.0, 0, 20] - 150 * axis, [-160.0, 0, 20] + 150 * axis])
    cable = cue_of("hanging cord", [(view.project(ends), 0.1)])
    cues = [false.gathered.for_pose(None)[0], cable]
    best = false.fused.best
    gravity = fuse(cues, camera_matrix(FOCAL, *SIZE), -best.zero.pose.rotation[:, 1])
    fused = FusedGravity((replace(best, gravity=gravity),))
    false = replace(false, gathered=SimpleNamespace(
        for_pose=lambda _: cues, focal_known=True, focals=false.gathered.focals), fused=fused,
        offset=estimate_offset(false.cards, fused))
    reading, right = combine_levels([good[0], false]), combine_levels(good)
    low, high = reading.interval_cm
    assert low <= TRUTH_MM / 10 <= high, "wider, or without the line; not surely wrong"
    assert half_mm(reading) > half_mm(right)


def test_one_photo_is_as_ever_and_nonsense_is_told():
    one = photo_of(eye(0))
    alone = combine_levels([one])
    assert alone.photos == () and alone.agreement is None and "photos" not in alone.as_json()
    with pytest.raises(InputError, match="Give one photo"):
        combine_levels([])
    tapped = replace(one, inputs=level_inputs(one.photo, landmark_px=(5.0, 5.0)))
    with pytest.raises(InputError, match="tapped"):
        combine_levels([one, tapped])


def test_the_printed_object_has_the_photos_beside_the_level():
    found = combine_levels([photo_of(eye(-9), name="a.jpg"),
                            photo_of(eye(9), name="b.jpg")]).as_json()
    assert [p["file"] for p in found["photos"]] == ["a.jpg", "b.jpg"]
    assert set(found["photos"][0]) == {"file", "status", "offset_cm", "interval_cm", "flags",
                                       "reasons"}
    assert set(found["agreement"]) == {"statistic", "degrees_of_freedom", "p_value"}
    assert found["agreement"]["degrees_of_freedom"] == 3


@pytest.mark.slow
def test_two_drawn_photos_of_a_room_hold_the_truth_and_are_no_wider_than_the_better_one():
    index = next(i for i in range(50) if random_world(
        np.random.default_rng([91, i, 2]), "cards").cord is not None)
    pair = level_set(91, index, 2)
    truth = pair[0][1]["true_offset_mm"]
    reading = read_level([load_photo(data) for data, _ in pair])
    assert reading.status == "read" and len(reading.photos) == 2
    low, high = reading.interval_cm
    assert low <= truth / 10 <= high
    assert half_mm(reading) < 1.02 * min(half_mm(p.reading) for p in reading.photos)

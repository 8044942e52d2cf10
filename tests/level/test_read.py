"""The level from a photo: rendered rooms with exact truth, refusals, focal length, coaching."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from level_rooms import scene

from vision.errors import InputError
from vision.imaging.exif import CameraFacts
from vision.imaging.gravity import phone_gravity
from vision.imaging.photo import Photo, load_photo, photo_from_array
from vision.level.read import read_level
from vision.level.result import LevelReading

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[3] / "shared" / "examples" / "level"
#: Rooms that the tests look at: (seed, index, kind).
CARDS = [(301, 0, "cards"), (301, 1, "cards"), (301, 2, "cards")]
#: An honest interval misses by chance only: three standard uncertainties bound every test room.
SIGMAS = 3.0


@lru_cache(maxsize=16)
def measured(seed: int, index: int, kind: str) -> tuple[LevelReading, dict]:
    photo, label = scene(seed, index, kind)
    options = {}
    if label["mode"] == "tap":
        options = {"landmark_px": tuple(label["landmark_px"]),
                   "depth_difference_mm": label.get("depth_difference_mm")}
    return read_level(photo, **options), label


def changed(photo: Photo, rgb: np.ndarray) -> Photo:
    """The photo with other pixels."""
    return photo_from_array(rgb, photo.camera.focal_35mm)


def without(photo: Photo, centre, reach: int) -> Photo:
    """The photo with a grey patch over a card."""
    rgb = photo.rgb.copy()
    x, y = (int(v) for v in centre)
    rgb[max(y - reach, 0): y + reach, max(x - reach, 0): x + reach] = 120
    return changed(photo, rgb)


# --- rooms with cards

@pytest.mark.parametrize("where", CARDS)
def test_the_truth_lies_within_the_stated_uncertainty(where):
    reading, label = measured(*where)
    assert reading.status == "read"
    error_mm = 10 * reading.offset_cm - label["true_offset_mm"]
    assert abs(error_mm) < SIGMAS * 10 * reading.standard_uncertainty_cm
    assert abs(error_mm) < 15
    low, high = reading.interval_cm
    assert low < reading.offset_cm < high


@pytest.mark.parametrize("where", CARDS)
def test_the_points_are_where_they_are_in_the_photo(where):
    reading, label = measured(*where)
    assert np.abs(reading.scene.zero_px - label["zero_px"]).max() < 0.3
    assert np.abs(reading.scene.landmark_px - label["landmark_px"]).max() < 0.6


@pytest.mark.parametrize("where", CARDS)
def test_the_budget_names_its_terms_and_makes_up_the_whole(where):
    reading, _ = measured(*where)
    terms = {t.term: t.standard_uncertainty for t in reading.budget}
    assert {f"vertical: {cue}" for cue in reading.gravity_from} <= set(terms)
    assert {"lens", "placing", "focal length"} <= set(terms)
    whole = np.sqrt(sum(u**2 for u in terms.values()))
    assert whole == pytest.approx(reading.standard_uncertainty_cm, rel=0.12)


def test_the_same_photo_gives_the_same_answer():
    photo, _ = scene(*CARDS[0])
    assert read_level(photo).as_json() == measured(*CARDS[0])[0].as_json()


def test_a_hanging_cord_makes_it_surer():
    photo, label = scene(*CARDS[0])
    cords = [measured(*w)[0] for w in CARDS if measured(*w)[1]["cord"]]
    assert cords, "the seed should hold a room with a cord"
    assert all("hanging cord" in r.gravity_from for r in cords)


# --- refusals

def test_a_bare_picture_is_refused():
    reading = read_level(photo_from_array(np.full((300, 400, 3), 140, np.uint8), 26))
    assert reading.status == "refused" and "zero-card-missing" in reading.flags


def test_a_missing_landmark_is_refused():
    photo, label = scene(*CARDS[0])
    reading = read_level(without(photo, label["landmark_px"], 140))
    assert reading.status == "refused" and reading.flags == ("landmark-missing",)
    assert reading.offset_cm is None and reading.action == "cannot tell"


def test_a_missing_zero_card_is_refused():
    photo, label = scene(*CARDS[0])
    reading = read_level(without(photo, label["zero_px"], 110))
    assert reading.status == "refused" and reading.flags == ("zero-card-missing",)


def test_no_plumb_cue_is_refused():
    # The zero card in a hand: nothing in the photo shows the vertical.
    reading, _ = measured(301, 4, "bare")
    assert reading.status == "refused" and reading.flags == ("no-gravity-cue",)


def test_the_phone_says_where_down_is_when_nothing_else_does():
    photo, label = scene(301, 4, "bare")  # refused above
    reading = read_level(photo, gravity=phone_gravity(label["gravity_camera"]))
    assert reading.status == "read" and reading.gravity_from == ("phone sensor",)
    low, high = reading.interval_cm
    assert low < label["true_offset_mm"] / 10 < high
    (told,) = [t for t in reading.budget if t.term == "vertical: phone sensor"]
    assert "to 0.70 degrees" in told.note


def test_two_zero_cards_are_refused():
    photo, label = scene(*CARDS[0])
    rgb = photo.rgb.copy()
    x, y = (int(v) for v in label["zero_px"])
    half = 75
    x0 = 5 if x > photo.width / 2 else photo.width - 2 * half - 5
    rgb[5: 5 + 2 * half, x0: x0 + 2 * half] = rgb[y - half: y + half, x - half: x + half]
    reading = read_level(changed(photo, rgb))
    assert reading.status == "refused" and "More than one zero card" in reading.reasons[0]


def test_a_smeared_photo_is_refused():
    photo, _ = scene(*CARDS[0])
    small = cv2.GaussianBlur(cv2.resize(photo.rgb, None, fx=0.4, fy=0.4), (0, 0), 7)
    assert read_level(changed(photo, small)).status == "refused"


@pytest.mark.parametrize("options, words", [
    ({"zero_card_mm": 0}, "zero card"), ({"landmark_card_mm": float("nan")}, "landmark card"),
    ({"landmark_px": (-5, 3)}, "outside"), ({"zero_px": (1, 1e9)}, "outside"),
    ({"landmark_px": (5, 3), "depth_difference_mm": float("inf")}, "depth"),
    ({"focal_35mm": 0}, "focal"), ({"tolerance_mm": -1}, "tolerance")])
def test_impossible_numbers_are_bad_input(options, words):
    photo = photo_from_array(np.zeros((60, 80, 3), np.uint8))
    with pytest.raises(InputError, match=words):
        read_level(photo, **options)


# --- tapped points

def test_a_tapped_landmark_with_its_depth():
    reading, label = measured(301, 8, "tap")
    assert reading.status == "read" and reading.mode == "tap"
    error_mm = 10 * reading.offset_cm - label["true_offset_mm"]
    assert abs(error_mm) < SIGMAS * 10 * reading.standard_uncertainty_cm


def test_a_depth_is_taken_square_to_the_bed_and_not_along_the_camera_s_axis():
    # The phone looks 10 degrees past it, from half a metre above: along its axis 3 cm too high.
    photo, label = scene(20311702, 1, "tap")
    reading = read_level(photo, landmark_px=tuple(label["landmark_px"]),
                         depth_difference_mm=label["depth_difference_mm"])
    assert abs(10 * reading.offset_cm - label["true_offset_mm"]) < 15
    assert "direction of depth" in {t.term for t in reading.budget}


def test_nearer_means_the_landmark_lies_further_down_the_sight_line():
    # Phone above the landmark: the nearer it is taken to be, the higher up on the
    # sight line it lies, so the system hangs less high above it.
    photo, label = scene(301, 8, "tap")
    at = tuple(label["landmark_px"])
    near, far = (read_level(photo, landmark_px=at, depth_difference_mm=d)
                 for d in (150.0, -150.0))
    phone_over_landmark = label["camera_above_zero_mm"] + label["true_offset_mm"]
    assert np.sign(far.offset_cm - near.offset_cm) == np.sign(phone_over_landmark)


def test_without_a_depth_the_interval_is_wide_and_the_coach_speaks():
    photo, label = scene(301, 8, "tap")
    at = tuple(label["landmark_px"])
    blind = read_level(photo, landmark_px=at)
    told = measured(301, 8, "tap")[0]
    assert blind.mode == "horizon"
    high = label["camera_above_zero_mm"]
    assert abs(high) > 40, "the seed should hold a phone off the zero reference's height"
    word = "Lower" if high > 0 else "Raise"
    assert blind.coach.startswith(f"{word} the phone about ")
    said_cm = float(blind.coach.split("about ")[1].split(" cm")[0])
    assert said_cm == pytest.approx(abs(high) / 10, abs=2.0)
    assert blind.status == told.status == "read"
    assert np.ptp(blind.interval_cm) > np.ptp(told.interval_cm)


# --- the camera

def test_an_unknown_focal_length_is_flagged_and_not_surer():
    photo, label = scene(*CARDS[0])
    known = measured(*CARDS[0])[0]
    bare = read_level(replace(photo, camera=CameraFacts()))
    assert "focal-unknown" in bare.flags
    error_mm = 10 * bare.offset_cm - label["true_offset_mm"]
    assert abs(error_mm) < SIGMAS * 10 * bare.standard_uncertainty_cm
    assert bare.standard_uncertainty_cm > 0.9 * known.standard_uncertainty_cm


def test_a_large_photo_is_measured_in_its_working_picture_and_drawn_in_its_own_pixels():
    photo, label = scene(*CARDS[0])
    big = cv2.resize(photo.rgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    large = photo_from_array(big, photo.camera.focal_35mm, working_scale=2)
    reading, small = read_level(large), measured(*CARDS[0])[0]
    assert reading.offset_cm == pytest.approx(small.offset_cm, abs=0.15)
    assert np.abs(reading.scene.zero_px - (2 * small.scene.zero_px + 0.5)).max() < 1.0


# --- pictures made by other means

@pytest.mark.skipif(not EXAMPLES.is_dir(), reason="no example pictures beside the checkout")
def test_examples_made_by_other_means():
    lines = (EXAMPLES / "labels.jsonl").read_text().splitlines()
    for label in map(json.loads, lines):
        options = {}
        if label["mode"] == "tap":
            options = {"landmark_px": tuple(label["landmark_px"]),
                       "depth_difference_mm": label["depth_difference_mm"]}
        reading = read_level(load_photo(EXAMPLES / label["file"]), **options)
        if label["expect"] == "refuse":
            assert reading.status == "refused", label["file"]
            continue
        error_mm = 10 * reading.offset_cm - label["true_offset_mm"]
        assert reading.status == "read", label["file"]
        assert abs(error_mm) < SIGMAS * 10 * reading.standard_uncertainty_cm, label["file"]
        if label["mode"] == "cards":
            assert abs(error_mm) < 9.0, label["file"]

"""The quick look for the two cards, on cards drawn exactly."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from level_rooms import card_picture

from vision.level.aim import aim_at_cards

SQUARE = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)


def frame(**places: tuple[float, float, float]) -> bytes:
    """A picture of (0: "zero", 1: "landmark") cards at (left, top, side)."""
    whole = np.full((480, 640, 3), 150, np.uint8)
    for name, (left, top, side) in places.items():
        code = {"zero": 0, "landmark": 1}[name]
        size = int(1.6 * side)
        small = card_picture(code, SQUARE * side + 0.3 * side, (size, size))
        whole[int(top):int(top) + size, int(left):int(left) + size] = small
    return bytes(cv2.imencode(".png", whole)[1].tobytes())


def test_both_cards_are_outlined_where_they_are() -> None:
    aim = aim_at_cards(frame(zero=(60, 60, 100), landmark=(380, 240, 90)))
    assert aim.found and aim.ready and len(aim.outlines) == 2
    for outline, (left, top, side) in zip(aim.outlines, ((60, 60, 100), (380, 240, 90)),
                                          strict=True):
        corners = np.array(outline) * (640, 480)
        middle = corners.mean(axis=0)
        assert np.abs(middle - (left + 0.8 * side, top + 0.8 * side)).max() < 3


def test_the_card_that_is_missing_is_named() -> None:
    assert "the landmark card" in aim_at_cards(frame(zero=(60, 60, 100))).words
    assert "the zero card" in aim_at_cards(frame(landmark=(60, 60, 100))).words
    both = aim_at_cards(frame())
    assert "the zero card and the landmark card" in both.words and not both.found


@pytest.mark.parametrize(("nod_deg", "words"), [
    # A side of 100 px is 60 mm and the card's centre lies 100 px over the picture's: 60 mm up.
    (0.0, "raise the phone by about 6 cm."),
    # Looking down by 30 degrees: -60 cos 30 + (60 / 100 of the focal length, px) sin 30.
    (30.0, "lower the phone by about 9 cm."),
    # By what is in between the card is at the height of the lens.
    (11.76, "the phone is at the height of the zero reference")])
def test_a_landmark_to_be_tapped_asks_for_the_height_of_the_zero_reference(nod_deg, words):
    focal = 26.0 / 43.27 * np.hypot(640, 480)
    nod = np.radians(nod_deg)
    aim = aim_at_cards(frame(zero=(60, 60, 100)), down=(0.0, np.cos(nod), np.sin(nod)))
    assert aim.too_high_mm == pytest.approx(
        -60 * np.cos(nod) + 0.6 * focal * np.sin(nod), abs=2.0)
    assert words in aim.words and "the landmark card" in aim.words
    assert "height" not in aim_at_cards(frame(zero=(60, 60, 100))).words, "nobody knows down"


def test_cards_too_small_to_measure_ask_the_hand_nearer() -> None:
    small = frame(zero=(60, 60, 40), landmark=(380, 240, 40))
    assert aim_at_cards(small).words.startswith("Too far")
    assert aim_at_cards(small, photo_px_per_px=2.0).ready  # the photo itself has more pixels


def test_in_the_dark_nothing_is_looked_for() -> None:
    dark = np.full((480, 640, 3), 20, np.uint8)
    assert aim_at_cards(bytes(cv2.imencode(".png", dark)[1])).words.startswith("Too dark")

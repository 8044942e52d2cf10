"""A slanted line that passes behind the bob of a hanging cord is no cord."""

from __future__ import annotations

import cv2
import numpy as np

from vision.cord import find_cord
from vision.straight_edges import upright_edges


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


def test_a_line_that_ends_behind_the_border_of_something_broad_is_none():
    # A cable behind a head: beside the line its border slopes away to one side.
    rgb = wall_with(((330, 100), (310, 520)), bob=(60, 60))
    cv2.circle(rgb, (400, 600), 120, (215, 180, 150), -1, cv2.LINE_AA)
    assert cord_in(rgb) is None

"""The numerals find the numbering again after the marks have been numbered wrongly."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.labels import check_numerals
from vision.ladder import Ladder, _moved, find_ladder
from vision.photo import load_photo
from vision.scale import load_scale

SAMPLES = Path(__file__).resolve().parents[1] / "sample_images"


@lru_cache(maxsize=1)
def right() -> Ladder:
    photo = load_photo((SAMPLES / "bench-1-pink.jpg").read_bytes())
    grey = cv2.cvtColor(photo.working_rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    ladder = find_ladder(grey, load_scale("quay-60"))
    assert ladder is not None
    return ladder


def numbered(shift: int) -> Ladder:
    """The same marks, each taken for the one ``shift`` places further up; one end unseen."""
    ladder = right()
    params = ladder.pose.params.copy()
    params[1] += shift * ladder.evidence.step_mm
    seen = ladder.seen.copy()
    seen[:2] = False
    return replace(ladder, pose=ladder.pose.with_params(params), seen=seen,
                   evidence=_moved(ladder.evidence, shift))


def test_the_right_numbering_agrees_on_its_own_side():
    check = check_numerals(right())
    assert check.verdict == "agree" and check.readable >= 3 and check.side != 0


@pytest.mark.parametrize("shift", [5, -10, 3, -7])
def test_a_wrong_numbering_is_found_out_and_the_right_one_named(shift):
    """Shifts of 5 put numbers beside other numbers; 3 and 7 put them beside plain marks."""
    check = check_numerals(numbered(shift))
    assert check.verdict == "other"
    assert check.shift == -shift

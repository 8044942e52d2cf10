"""The quick look at a live picture, against the truth of the drawn demo photos."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.errors import PhotoError
from vision.imaging.aim import LIVE_SIDE_PX
from vision.scale_file.scale import load_scale
from vision.volume.aim import aim_at_chamber

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
LABELS = [json.loads(line) for line in (SAMPLES / "labels.jsonl").read_text().splitlines() if line]
READABLE = [x for x in LABELS if x.get("tier") in ("easy", "typical", "hard")]


def picture(label: dict, side: int = LIVE_SIDE_PX) -> np.ndarray:
    found = cv2.imread(str(SAMPLES / label["file"]))
    k = side / max(found.shape)
    return cv2.resize(found, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)


def jpeg(bgr: np.ndarray) -> bytes:
    return bytes(cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 70])[1].tobytes())


def scale(label: dict):
    return load_scale(Path(label["scale"]).stem)


@pytest.mark.slow
@pytest.mark.parametrize("label", READABLE, ids=lambda x: x["file"])
def test_the_chamber_is_outlined_and_the_hand_is_sent_the_right_way(label: dict) -> None:
    live = picture(label)
    aim = aim_at_chamber(jpeg(live), scale(label), 1600 / LIVE_SIDE_PX)
    assert aim.found and aim.elevation_deg is not None and aim.too_high_mm is not None
    true = label["elevation_deg"]
    # Without the focal length of the photo, and of a third of its pixels (our limit).
    assert abs(aim.elevation_deg - true) < 4.0
    height, width = live.shape[:2]
    (outline,) = aim.outlines
    where = (np.array(outline) * (width, height)).astype(np.float32)
    for mark in ("lowest_mark_px", "highest_mark_px"):
        x, y = np.array(label[mark]) * height / 1600
        assert cv2.pointPolygonTest(where, (float(x), float(y)), True) > -0.03 * height
    if abs(true) > 10:
        assert aim.words.startswith("Lower" if true > 0 else "Raise") and not aim.ready
        # From half to twice the true way: the distance follows from the lens, which is guessed.
        way = label["distance_mm"] * np.sin(np.radians(true))
        assert 0.5 < aim.too_high_mm / way < 2.0
    elif abs(true) < 4:
        assert aim.ready and aim.words.startswith("Good")


def test_what_is_wrong_with_the_picture_is_said_first() -> None:
    label = next(x for x in LABELS if x["tier"] == "easy")
    live, its = picture(label), scale(label)
    dark = aim_at_chamber(jpeg((live * 0.15).astype(np.uint8)), its)
    assert not dark.found and dark.words.startswith("Too dark")
    wall = aim_at_chamber(jpeg(np.full_like(live, 180)), its)
    assert not wall.found and wall.words.startswith("Looking for the marks of")


@pytest.mark.slow
def test_too_near_and_too_far_are_told_apart() -> None:
    label = next(x for x in LABELS if x["tier"] == "easy")
    live, its = picture(label, 1600), scale(label)
    near = live[:-330]  # the lowest marks are below the picture
    assert aim_at_chamber(jpeg(cv2.resize(near, None, fx=0.6, fy=0.6)), its,
                          ).words.startswith("Too near")
    assert aim_at_chamber(jpeg(cv2.resize(live, None, fx=0.45, fy=0.45,
                                          interpolation=cv2.INTER_AREA)), its
                          ).words.startswith("Too far")


def test_no_picture_is_an_error_of_our_own() -> None:
    with pytest.raises(PhotoError):
        aim_at_chamber(b"nothing", load_scale("quay-60"))

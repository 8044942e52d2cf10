"""Level sets: results in mm, per mode, with the requirements of section "level"."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import vision.level.read
from vision.accuracy import measure as measuring
from vision.accuracy import read_labels, run_benchmark
from vision.imaging.photo import photo_from_array
from vision.lens.model import Lens, save_lens
from vision.level.result import LevelReading

EXAMPLES = Path(__file__).parents[3] / "shared" / "examples" / "level" / "labels.jsonl"


@pytest.fixture
def asked(monkeypatch):
    """A measuring side that is 4 mm too high, and remembers how it was asked."""
    calls = []

    def read_level(photo, zero_card_mm=60.0, landmark_card_mm=40.0, **more):
        calls.append((zero_card_mm, landmark_card_mm, more))
        return LevelReading("read", "cards", offset_cm=1.4, interval_cm=(0.6, 2.2))

    monkeypatch.setattr(vision.level.read, "read_level", read_level)
    import numpy as np
    monkeypatch.setattr("vision.imaging.photo.load_photo",
                        lambda path: photo_from_array(np.zeros((60, 80, 3), np.uint8)))
    return calls


def label(tmp_path, **keys):
    path = tmp_path / "labels.jsonl"
    path.write_text(json.dumps({"file": "a.jpg", "true_offset_mm": 10.0, "mode": "cards",
                                "landmark_px": [7, 8], "depth_difference_mm": 55.0, **keys}))
    return next(read_labels(path))


def test_an_offset_is_compared_in_mm(asked, tmp_path):
    row = measuring.measure(label(tmp_path))
    assert (row.status, row.unit, row.hit, row.misread) == ("read", "mm", True, False)
    assert row.error == pytest.approx(4.0)
    assert row.error_div is None


def test_with_cards_the_labelled_landmark_is_truth_and_not_given_away(asked, tmp_path):
    measuring.measure(label(tmp_path, zero_card_mm=80))
    assert asked == [(80.0, 40.0, {})]


def test_in_tap_mode_the_labelled_landmark_is_the_tap(asked, tmp_path):
    measuring.measure(label(tmp_path, mode="tap"))
    assert asked[0][2] == {"landmark_px": (7.0, 8.0), "depth_difference_mm": 55.0}


def test_a_large_error_is_a_misread_only_when_the_interval_hides_it(asked, tmp_path):
    assert measuring.measure(label(tmp_path, true_offset_mm=40.0)).misread
    assert not measuring.measure(label(tmp_path, true_offset_mm=21.9)).misread


@pytest.mark.slow
@pytest.mark.skipif(not EXAMPLES.exists(), reason="the example pictures are not here")
def test_the_example_set_is_taken_through_without_an_error(tmp_path):
    lines = [json.loads(x) for x in EXAMPLES.read_text().splitlines()][:3]
    for line in lines:
        line["file"] = str(EXAMPLES.parent / line["file"])
    path = tmp_path / "labels.jsonl"
    path.write_text("".join(json.dumps(x) + "\n" for x in lines))
    part = run_benchmark(path, tmp_path / "out", progress=False).kinds["level"]
    assert part.unit == "mm" and part.overall.stopped_by_error == 0
    assert {c.what for c in part.checks} >= {"mean absolute error, mm", "silent misreads"}


def test_where_the_focal_length_came_from_is_kept_and_reported(asked, tmp_path):
    plain = measuring.measure(label(tmp_path))
    assert plain.camera_from == "not stated"
    save_lens(Lens(80, 60, 70.0, (39.5, 29.5), (0.0, 0.0), 0.01, 0.1, 8, 400), tmp_path / "l.json")
    assert measuring.measure(label(tmp_path, lens="l.json")).camera_from == "lens file"
    label(tmp_path, lens="l.json")
    part = run_benchmark(tmp_path / "labels.jsonl", tmp_path / "out", progress=False).kinds["level"]
    assert part.cameras == {"lens file": 1}
    assert "lens file: 1 images" in (tmp_path / "out" / "report.html").read_text()


def test_a_lens_file_that_does_not_fit_is_an_error_row(asked, tmp_path):
    row = measuring.measure(label(tmp_path, lens="none.json"))
    assert row.status == "error" and "no lens file" in row.message

"""One picture a stage, as far as a photo went."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from app.cli import main
from vision.imaging.photo import load_photo, photo_from_array
from vision.scale_file.scale import load_scale
from vision.volume.evidence import gather
from vision.volume.explain import explain

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.mark.slow
def test_each_stage_has_its_picture(tmp_path, capsys):
    folder = tmp_path / "why"
    assert main(["read", str(SAMPLES / "bench-1-pink.jpg"), "--scale", "quay-60", "--explain",
                 str(folder)]) == 0
    assert sorted(p.name for p in folder.iterdir()) == [
        "1-marks.png", "2-numbering.png", "3-surface.png", "4-budget.png"]
    capsys.readouterr()


def test_a_photo_without_a_chamber_ends_at_the_first():
    blank = photo_from_array(np.full((300, 200, 3), 170, np.uint8))
    assert list(explain(gather(blank, load_scale("quay-60")))) == ["1-marks"]


@pytest.mark.slow
def test_the_pictures_differ_with_what_was_found():
    quay = load_scale("quay-60")
    one, other = (explain(gather(load_photo(SAMPLES / f"bench-{n}.jpg"), quay))
                  for n in ("1-pink", "4-from-above"))
    assert all(one[k].shape[2] == 3 and one[k].dtype == np.uint8 for k in one)
    assert any(one[k].shape != other[k].shape or (one[k] != other[k]).any()
               for k in ("3-surface", "4-budget"))


def test_a_folder_that_cannot_be_made_is_said(tmp_path, capsys):
    (tmp_path / "file").write_text("x")
    assert main(["read", str(SAMPLES / "bench-1-pink.jpg"), "--scale", "quay-60", "--explain",
                 str(tmp_path / "file" / "why")]) == 2
    assert "--explain" in capsys.readouterr().err

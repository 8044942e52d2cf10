"""A chamber that lies on its side in the photo is said to, before all else."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from vision.imaging.photo import Photo, load_photo, photo_from_array
from vision.imaging.quality import measure_quality
from vision.scale_file.scale import load_scale
from vision.volume.decide import decide
from vision.volume.evidence import PhotoEvidence
from vision.volume.locate import Hints
from vision.volume.turned import on_its_side

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
QUAY = load_scale("quay-60")
pytestmark = pytest.mark.slow


@cache
def photo(name: str, degrees: int) -> Photo:
    out = io.BytesIO()
    Image.open(SAMPLES / name).rotate(degrees, expand=True).save(out, "JPEG", quality=92)
    return load_photo(out.getvalue())


def refused(of: Photo):  # type: ignore[no-untyped-def]
    """What is said of a photo in which no row of marks was found."""
    return decide(PhotoEvidence(of, QUAY, Hints(), measure_quality(of.working_gray)))


@pytest.mark.parametrize(("degrees", "lies"), [(90, True), (270, True), (0, False)])
def test_the_marks_of_the_scale_say_so_and_not_the_shape_of_the_photo(degrees, lies):
    assert on_its_side(photo("bench-1-pink.jpg", degrees), QUAY) is lies


def test_a_square_photo_can_lie_on_its_side_too():
    whole = photo("bench-1-pink.jpg", 90).rgb
    side = min(whole.shape[:2])
    left = (whole.shape[1] - side) // 2
    assert on_its_side(photo_from_array(np.ascontiguousarray(whole[:, left:left + side])), QUAY)


def test_an_upright_blind_or_radiator_is_no_chamber_on_its_side():
    picture = np.full((400, 900, 3), 200, np.uint8)
    for x in range(10, 890, 24):
        picture[:, x:x + 9] = 120
    assert not on_its_side(photo_from_array(picture), QUAY)


def test_it_is_the_first_reason_and_stands_for_no_chamber():
    said = refused(photo("bench-1-pink.jpg", 90))
    assert said.status == "refused" and said.flags[0] == "on-its-side"
    assert "turned on its side" in said.reasons[0] and "no-chamber" not in said.flags


def test_blurred_goes_before_no_chamber():
    said = refused(photo("bench-8-blurred.jpg", 0))
    assert said.flags[0] == "blurred" and said.flags[-1] == "no-chamber"
    assert len(said.flags) == len(said.reasons)

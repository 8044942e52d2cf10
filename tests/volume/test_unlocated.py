"""A chamber that lies on its side in the photo is said to, before all else."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from vision.imaging.photo import Photo, load_photo, photo_from_array
from vision.imaging.quality import measure_quality
from vision.scale_file.scale import load_scale
from vision.volume.decide import decide
from vision.volume.evidence import PhotoEvidence
from vision.volume.locate import Hints
from vision.volume.unlocated import Unlocated, look_for_others

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
QUAY = load_scale("quay-60")
pytestmark = pytest.mark.slow


@cache
def photo(name: str, degrees: int) -> Photo:
    out = io.BytesIO()
    Image.open(SAMPLES / name).rotate(degrees, expand=True).save(out, "JPEG", quality=92)
    return load_photo(out.getvalue())


@cache
def seen(name: str, degrees: int) -> Unlocated:
    return look_for_others(photo(name, degrees), QUAY)


def without_row(name: str, degrees: int) -> PhotoEvidence:
    """The evidence of a photo in which no row of marks was found."""
    of = photo(name, degrees)
    return PhotoEvidence(of, QUAY, Hints(), measure_quality(of.working_gray),
                         unlocated=seen(name, degrees))


@pytest.mark.parametrize(("degrees", "lies"), [(90, True), (270, True), (0, False)])
def test_the_marks_of_the_scale_say_so_and_not_the_shape_of_the_photo(degrees, lies):
    assert seen("bench-1-pink.jpg", degrees).on_its_side is lies


def test_a_square_photo_can_lie_on_its_side_too():
    whole = photo("bench-1-pink.jpg", 90).rgb
    side = min(whole.shape[:2])
    left = (whole.shape[1] - side) // 2
    cut = photo_from_array(np.ascontiguousarray(whole[:, left:left + side]))
    assert look_for_others(cut, QUAY).on_its_side


def test_an_upright_blind_or_radiator_is_no_chamber_on_its_side():
    picture = np.full((400, 900, 3), 200, np.uint8)
    for x in range(10, 890, 24):
        picture[:, x:x + 9] = 120
    assert not look_for_others(photo_from_array(picture), QUAY).on_its_side


def test_it_is_the_first_reason_and_stands_for_no_chamber():
    said = decide(without_row("bench-1-pink.jpg", 90))
    assert said.status == "refused" and said.flags[0] == "on-its-side"
    assert "turned on its side" in said.reasons[0] and "no-chamber" not in said.flags


def test_blurred_goes_before_no_chamber():
    said = decide(without_row("bench-8-blurred.jpg", 0))
    assert said.flags[0] == "blurred" and said.flags[-1] == "no-chamber"
    assert len(said.flags) == len(said.reasons)


@pytest.mark.parametrize("seen", [Unlocated(40, True), Unlocated(40, False), Unlocated(3, False)])
def test_the_decision_stands_on_the_evidence_and_opens_no_picture(seen):
    evidence = without_row("bench-8-blurred.jpg", 0)
    blind = SimpleNamespace(camera=evidence.photo.camera, name="", sha256="")
    said = decide(replace(evidence, photo=blind, unlocated=seen))
    assert ("on-its-side" in said.flags) is seen.on_its_side
    assert ("wrong-scale" in said.flags) is (seen.longest_row == 40 and not seen.on_its_side)

"""A numbering that is out by one mark: its numbers stand beside the next marks."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from vision.graduations.fit import GraduationFit
from vision.graduations.number_places import numbers_above_marks
from vision.graduations.numeral_evidence import NumeralCheck, check_numerals
from vision.imaging.photo import load_photo
from vision.parameters import A_MARK_BESIDE
from vision.scale_file.scale import load_scale
from vision.volume import number
from vision.volume.evidence import gather
from vision.volume.locate import Hints
from vision.volume.number import _level_with_numbers, _shifted

pytestmark = pytest.mark.slow
SAMPLES = Path(__file__).parents[2] / "sample_images"


@lru_cache(maxsize=4)
def right(photo: str, scale: str) -> tuple[GraduationFit, NumeralCheck]:
    found = gather(load_photo(SAMPLES / photo), load_scale(scale)).numbering
    assert found is not None and found.check is not None
    return found.fit, found.check


def wrong(shift: int) -> tuple[GraduationFit, NumeralCheck]:
    """The numbering of a photo moved by some marks, as if its numbers had not told."""
    moved = _shifted(right("bench-1-pink.jpg", "quay-60")[0], shift, Hints())
    assert moved is not None
    return moved, replace(check_numerals(moved), verdict="agree",
                          side=right("bench-1-pink.jpg", "quay-60")[1].side)


def mark_px(fit: GraduationFit, value: float) -> np.ndarray:
    height = np.array([float(fit.scale.height_mm(value))])
    return np.asarray(fit.pose.project(fit.pose.on_wall(np.zeros(1), height))[0])


@pytest.mark.parametrize(("photo", "scale"), [
    ("bench-1-pink.jpg", "quay-60"), ("bench-2-clear.jpg", "heron-100"),
    ("bench-4-from-above.jpg", "quay-60"), ("bench-6-red.jpg", "slate-50")])
def test_numbers_stand_level_with_their_marks(photo, scale):
    fit, check = right(photo, scale)
    above = numbers_above_marks(fit, check.side)
    assert above is not None and abs(above) < 0.2


@pytest.mark.parametrize("shift", [-1, 1])
def test_a_numbering_that_is_out_by_a_mark_is_put_right(shift):
    fit, check = wrong(shift)
    above = numbers_above_marks(fit, check.side)
    assert above == pytest.approx(shift, abs=0.2)
    again, seen = _level_with_numbers(fit, check, Hints())
    assert again is not fit and seen.verdict == "agree"
    there = mark_px(right("bench-1-pink.jpg", "quay-60")[0], 30.0)
    assert np.hypot(*(mark_px(again, 30.0) - there)) < 1.0 < np.hypot(*(mark_px(fit, 30.0) - there))


def test_where_the_marks_prove_it_numbers_may_stand_elsewhere(monkeypatch):
    fit, check = right("bench-1-pink.jpg", "quay-60")
    monkeypatch.setattr(number, "numbers_above_marks", lambda *_: 1.0)
    assert _level_with_numbers(fit, check, Hints()) == (fit, check)


@pytest.mark.parametrize("above", [None, 0.0, 0.9 * (1 - A_MARK_BESIDE), 1.1 + A_MARK_BESIDE, 2.0])
def test_numbers_that_stand_anywhere_else_move_nothing(monkeypatch, above):
    fit, check = wrong(1)
    monkeypatch.setattr(number, "numbers_above_marks", lambda *_: above)
    assert _level_with_numbers(fit, check, Hints())[0] is fit


def test_numbers_that_cannot_be_seen_stand_nowhere():
    fit, check = right("bench-1-pink.jpg", "quay-60")
    even = replace(fit, grey=np.full_like(fit.grey, 120.0))
    assert numbers_above_marks(even, check.side) is None
    assert numbers_above_marks(fit, 0) is None
    assert numbers_above_marks(fit, -check.side) is None

"""Marks that settle the numbering in one look, numbers that are read in another."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from vision.graduations.numeral_evidence import NumeralCheck
from vision.parameters import ONE_MARK
from vision.volume import number
from vision.volume.locate import Hints
from vision.volume.number import _numbered_alike, _row_with_numbers

UNREAD = NumeralCheck("unread", 0, 0.0, 0, True, 0, "")
AGREE = NumeralCheck("agree", 0, 12.0, 4, False, 3, "", 1)


def row(name: str, misfit: float = 0.02, *, counts: bool = False, clear: bool = True,
        alike: bool = True) -> Any:
    return SimpleNamespace(name=name, relative_residual=misfit, counts=counts, is_clear=clear,
                           alike=alike)


@pytest.fixture
def chosen(monkeypatch: pytest.MonkeyPatch):
    def ask(first: Any, other: Any, seen: NumeralCheck = AGREE) -> tuple[str, NumeralCheck]:
        monkeypatch.setattr(number, "_other_rows", lambda *_: iter([other]))
        monkeypatch.setattr(number, "check_numerals", lambda *_, **__: seen)
        monkeypatch.setattr(number, "_counted", lambda _: None)
        monkeypatch.setattr(number, "_numbered_alike", lambda _, one: one.alike)
        monkeypatch.setattr(number, "accept_by_count", lambda one, complete: one.counts)
        found, check = _row_with_numbers(first, UNREAD, Hints())
        return found.name, check
    return ask


def test_numbers_of_another_look_prove_the_marks_of_the_first(chosen):
    name, check = chosen(row("first", counts=True), row("red", 0.03))
    assert (name, check.verdict) == ("first", "agree")
    # how far the marks reach is told by the look that shows them
    assert (check.count_complete, check.unmatched_marks) == (True, 0)
    assert check == replace(AGREE, count_complete=True, unmatched_marks=0)


@pytest.mark.parametrize("first", [row("first"), row("first", 0.04, counts=True)])
def test_where_the_first_look_does_not_count_or_lies_worse_the_other_ones_marks_are_read(
        chosen, first):
    assert chosen(first, row("red", 0.03)) == ("red", AGREE)


@pytest.mark.parametrize(("clear", "expected"), [(True, ("red", AGREE)),
                                                 (False, ("first", UNREAD))])
def test_another_numbering_is_believed_only_where_its_marks_lie_in_place(chosen, clear, expected):
    assert chosen(row("first", counts=True), row("red", clear=clear, alike=False)) == expected


class Along:
    """Marks that many pixels apart along the tube, moved by some."""

    def __init__(self, moved_px: float) -> None:
        self.moved_px = moved_px

    def on_wall(self, azimuth: np.ndarray, height_mm: np.ndarray) -> np.ndarray:
        return height_mm

    def project(self, height_mm: np.ndarray) -> np.ndarray:
        return np.stack([np.full(len(height_mm), 300.0), 700.0 - 8.0 * height_mm + self.moved_px],
                        axis=1)


@pytest.mark.parametrize(("moved_px", "alike"), [
    (0.0, True), (0.9 * ONE_MARK * 16, True), (1.1 * ONE_MARK * 16, False), (16.0, False)])
def test_marks_are_numbered_alike_where_they_lie_together(moved_px, alike):
    heights = np.arange(0.0, 40.0, 2.0)  # 2 mm of 8 px each: 16 px from mark to mark
    a, b = (SimpleNamespace(pose=Along(px), height_mm=heights) for px in (0.0, moved_px))
    assert _numbered_alike(a, b) is alike

"""Which other rows of marks are asked where the numbers of the first prove nothing."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from vision.graduations.search import Effort
from vision.parameters import CLEAR_RESIDUAL
from vision.scale_file.scale import load_scale
from vision.volume import number
from vision.volume.locate import Hints

ELSEWHERE, RED = object(), object()


def row(residual: float = 0.5 * CLEAR_RESIDUAL, *, of_marks: bool = True) -> Any:
    return SimpleNamespace(relative_residual=residual, is_of_marks=of_marks, is_clear=False,
                           scale=load_scale("quay-60"))


OTHERS = ("20", "50", "70", "100")  # beside the marks of 10, 25, 35 and 50


@pytest.mark.parametrize(("fit", "verdict", "texts", "asked"), [
    (row(), "unread", OTHERS, [ELSEWHERE, RED]),
    # a rule on the panel, whose numbers are its own: the chamber may stand elsewhere, but the rule
    # is no chamber in any colour
    (row(), "disagree", OTHERS, [ELSEWHERE]),
    (row(), "disagree", ("60", "45", "35", "20"), [ELSEWHERE]),
    (row(), "disagree", ("20", "50", "7", "100"), [ELSEWHERE]),     # one misread
    # numbers that contradict may be those of marks that lie badly, or of gaps
    (row(CLEAR_RESIDUAL), "disagree", OTHERS, [ELSEWHERE, RED]),
    (row(of_marks=False), "disagree", OTHERS, [ELSEWHERE, RED]),
    # or misread, or of this scale, one label beside
    (row(), "disagree", ("7", "3", "3", "5"), [ELSEWHERE, RED]),
    (row(), "disagree", ("20", "50", "", ""), [ELSEWHERE, RED]),
    (row(), "disagree", ("20", "35", "45", "60"), [ELSEWHERE, RED]),
    (row(), "disagree", ("20", "3", "45", "60"), [ELSEWHERE, RED]),
])
def test_a_row_in_place_with_other_numbers_is_not_asked_in_another_colour(
        monkeypatch, fit, verdict, texts, asked):
    monkeypatch.setattr(number, "row_elsewhere", lambda *_: ELSEWHERE)
    monkeypatch.setattr(number, "in_other_looks", lambda *_: iter([RED]))
    marks = [int(np.argmin([abs(m.value - v) for m in fit.scale.marks])) for v in (10, 25, 35, 50)]
    labels = tuple((m, text, 0.9 if text else 0.0) for m, text in zip(marks, texts, strict=True))
    check = SimpleNamespace(verdict=verdict, labels=labels)
    assert list(number._other_rows(fit, check, Hints())) == asked


@pytest.mark.parametrize(("beyond", "clear", "verdict", "effort"), [
    (40, True, "unread", Effort.GLANCE), (12, True, "unread", None),
    (40, False, "unread", None), (40, True, "disagree", None)])
def test_beside_a_row_far_longer_than_the_scale_a_glance_is_enough(
        monkeypatch, beyond, clear, verdict, effort):
    """A curtain or a blind has more even strokes than the scale has marks, in every colour."""
    efforts = []
    monkeypatch.setattr(number, "row_elsewhere", lambda fit, hints, e: efforts.append(e))
    monkeypatch.setattr(number, "in_other_looks",
                        lambda fit, hints, e: iter([efforts.append(e)]))
    monkeypatch.setattr(number, "marks_beyond", lambda fit: beyond)
    fit = row()
    fit.is_clear = clear
    list(number._other_rows(fit, SimpleNamespace(verdict=verdict, labels=()), Hints()))
    assert efforts == [effort or Effort.FIRST, effort]

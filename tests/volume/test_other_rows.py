"""Which other rows of marks are asked where the numbers of the first prove nothing."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from vision.parameters import CLEAR_RESIDUAL
from vision.volume import number
from vision.volume.locate import Hints

ELSEWHERE, RED = object(), object()


def row(residual: float = 0.5 * CLEAR_RESIDUAL, *, of_marks: bool = True) -> Any:
    return SimpleNamespace(relative_residual=residual, is_of_marks=of_marks)


@pytest.mark.parametrize(("fit", "verdict", "asked"), [
    (row(), "unread", [ELSEWHERE, RED]),
    # a rule on the panel, whose numbers are its own: the chamber may stand elsewhere, but the rule
    # is no chamber in any colour
    (row(), "disagree", [ELSEWHERE]),
    # numbers that contradict may be those of marks that lie badly, or of gaps
    (row(CLEAR_RESIDUAL), "disagree", [ELSEWHERE, RED]),
    (row(of_marks=False), "disagree", [ELSEWHERE, RED]),
])
def test_a_row_in_place_with_other_numbers_is_not_asked_in_another_colour(
        monkeypatch, fit, verdict, asked):
    monkeypatch.setattr(number, "row_elsewhere", lambda *_: ELSEWHERE)
    monkeypatch.setattr(number, "in_other_looks", lambda *_: iter([RED]))
    check = SimpleNamespace(verdict=verdict)
    assert list(number._other_rows(fit, check, Hints())) == asked

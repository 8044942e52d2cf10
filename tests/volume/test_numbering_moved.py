"""Numbers that agree one mark beside their own: the marks are asked, and the better one stays."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from vision.graduations.numeral_evidence import NumeralCheck
from vision.volume import read as volume
from vision.volume.read import _Reader


def ladder(name: str, best_shift: int) -> SimpleNamespace:
    return SimpleNamespace(name=name, evidence=SimpleNamespace(best_shift=best_shift))


def check(verdict: str, strangers: int, lead: float) -> NumeralCheck:
    return NumeralCheck(verdict, 0, lead, 5, False, strangers, "")  # type: ignore[arg-type]


@pytest.mark.parametrize(("there", "stays"), [
    (check("agree", 0, 12.0), "moved"),      # fewer marks beyond the ends
    (check("agree", 2, 60.0), "moved"),      # as many, and the numbers lead by more
    (check("agree", 2, 20.0), "first"),
    (check("agree", 3, 90.0), "first"),
    (check("unread", 0, 0.0), "first"),
    (check("disagree", 0, 0.0), "first"),
])
def test_the_better_of_two_places_stays(monkeypatch, there, stays):
    reader = _Reader.__new__(_Reader)
    monkeypatch.setattr(volume, "renumbered", lambda _, shift: (7.0 + shift, (10.0, 20.0)))
    monkeypatch.setattr(reader, "_ladder", lambda fixed, near: ladder("moved", 0))
    monkeypatch.setattr(volume, "check_numerals", lambda _: there)
    found, _ = reader._by_a_mark(ladder("first", -1), check("agree", 2, 44.0))
    assert found.name == stays


@pytest.mark.parametrize(("verdict", "shift"), [("agree", 0), ("unread", -1), ("other", 2)])
def test_nothing_moves_where_marks_and_numbers_do_not_part(monkeypatch, verdict, shift):
    reader = _Reader.__new__(_Reader)
    monkeypatch.setattr(reader, "_ladder", lambda **_: pytest.fail("looked again"))
    found, _ = reader._by_a_mark(ladder("first", shift), check(verdict, 0, 20.0))
    assert found.name == "first"

"""Numbers that agree one mark beside their own: the marks are asked, and the better one stays."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from vision.graduations.numeral_evidence import NumeralCheck
from vision.volume import number as stage
from vision.volume.locate import Hints


def fit(name: str, best_shift: int) -> SimpleNamespace:
    return SimpleNamespace(name=name, evidence=SimpleNamespace(best_shift=best_shift))


def check(verdict: str, unmatched: int, log_odds: float) -> NumeralCheck:
    return NumeralCheck(verdict, 0, log_odds, 5, False, unmatched, "")  # type: ignore[arg-type]


@pytest.mark.parametrize(("there", "stays"), [
    (check("agree", 0, 12.0), "moved"),      # fewer marks beyond the ends
    (check("agree", 2, 60.0), "moved"),      # as many, and the numbers lead by more
    (check("agree", 2, 20.0), "first"),
    (check("agree", 3, 90.0), "first"),
    (check("unread", 0, 0.0), "first"),
    (check("disagree", 0, 0.0), "first"),
])
def test_the_better_of_two_places_stays(monkeypatch, there, stays):
    monkeypatch.setattr(stage, "_shifted", lambda _, shift, hints: fit("moved", 0))
    monkeypatch.setattr(stage, "check_numerals", lambda _: there)
    found, _ = stage.better_by_a_mark(fit("first", -1), check("agree", 2, 44.0), Hints())
    assert found.name == stays


def test_nothing_moves_back_to_where_the_numbers_spoke_against_it(monkeypatch):
    checks = iter([check("agree", 2, 44.0)])
    monkeypatch.setattr(stage, "_shifted", lambda *_: fit("moved", 7))
    monkeypatch.setattr(stage, "check_numerals", lambda _: next(checks))
    there = replace(check("other", 2, 44.0), shift=-7)
    found, seen, refuted = stage._followed(fit("first", 0), there, Hints())
    assert (found.name, seen.verdict, refuted) == ("moved", "agree", [7])
    monkeypatch.setattr(stage, "_shifted", lambda *_: pytest.fail("looked again"))
    assert stage.better_by_a_mark(found, seen, Hints(), refuted) == (found, seen)


def test_two_steps_are_counted_from_where_they_lead(monkeypatch):
    checks = iter([replace(check("other", 2, 44.0), shift=2), check("agree", 2, 44.0)])
    monkeypatch.setattr(stage, "_shifted", lambda *_: fit("moved", 0))
    monkeypatch.setattr(stage, "check_numerals", lambda _: next(checks))
    first = replace(check("other", 2, 44.0), shift=-5)
    *_, refuted = stage._followed(fit("first", 0), first, Hints())
    assert sorted(refuted) == [-2, 3]


@pytest.mark.parametrize(("verdict", "shift"), [("agree", 0), ("unread", -1), ("other", 2)])
def test_nothing_moves_where_marks_and_numbers_do_not_part(monkeypatch, verdict, shift):
    monkeypatch.setattr(stage, "_shifted", lambda *_: pytest.fail("looked again"))
    found, _ = stage.better_by_a_mark(fit("first", shift), check(verdict, 0, 20.0), Hints())
    assert found.name == "first"

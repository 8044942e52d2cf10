"""The same marks in several looks, where no number can be read: which look counts."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from vision.volume import number
from vision.volume.number import _counted

UNREAD = SimpleNamespace(verdict="unread", count_complete=True)


def look(margin: float, *, counts: bool = False, of_marks: bool = True, here: bool = True) -> Any:
    return SimpleNamespace(evidence=SimpleNamespace(margin=lambda _: margin), counts=counts,
                           is_of_marks=of_marks, here=here)


@pytest.fixture(autouse=True)
def _as_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(number, "accept_by_count", lambda row, complete: row.counts and complete)
    monkeypatch.setattr(number, "apart", lambda one, other: not other.here)


def counted(*looks: Any, last: Any = UNREAD) -> Any:
    found = _counted([*((row, UNREAD) for row in looks[:-1]), (looks[-1], last)])
    return None if found is None else found[0]


def test_the_look_that_shows_the_marks_to_their_ends_counts():
    grey, red, blue = look(2.0), look(12.0, counts=True), look(20.0, counts=True)
    assert counted(grey, red, blue) is blue


@pytest.mark.parametrize("other", [
    look(12.0),                                       # its ends are not seen
    look(12.0, counts=True, of_marks=False),          # the gaps, not the marks
    look(12.0, counts=True, here=False),              # something else in the picture
])
def test_a_look_that_proves_nothing_does_not(other):
    assert counted(look(2.0), other) is None


def test_one_in_which_the_marks_speak_for_another_numbering_unsettles_it():
    assert counted(look(2.0), look(12.0, counts=True), look(-0.1)) is None
    assert counted(look(-0.1), look(12.0, counts=True)) is None


def test_numbers_that_contradict_unsettle_it():
    disagree = SimpleNamespace(verdict="disagree", count_complete=True)
    assert counted(look(2.0), look(12.0, counts=True), look(1.0), last=disagree) is None


def test_where_the_first_look_counts_it_stays():
    assert counted(look(12.0, counts=True), look(20.0, counts=True)) is None

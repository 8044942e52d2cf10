"""When another row of marks in the photo is a second chamber, and when only a rule."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from vision.graduations.numeral_evidence import NumeralCheck
from vision.volume import read as volume
from vision.volume.read import _Reader


def check(verdict: str) -> NumeralCheck:
    return NumeralCheck(verdict, 0, 20.0, 5, True, 0, "")  # type: ignore[arg-type]


@pytest.mark.parametrize(("own", "there", "neat", "two_rows", "second"), [
    ("agree", "agree", False, False, True),
    ("agree", "unread", False, False, False),   # a rule on the panel has marks as well
    ("agree", "unread", True, False, False),
    ("agree", "unread", False, True, False),
    ("agree", "unread", True, True, True),      # two spacings, all in place: no rule has that
    ("agree", "disagree", True, True, False),
    ("unread", "unread", False, False, True),   # neither has numbers: both may be it
])
def test_a_second_row_of_marks(monkeypatch, own, there, neat, two_rows, second):
    reader = _Reader.__new__(_Reader)
    found = SimpleNamespace(rival=0.95, rival_px=(5.0, 5.0), beside_px=())
    monkeypatch.setattr(reader, "_ladder_in", lambda look, near: SimpleNamespace(neat=neat))
    monkeypatch.setattr(volume, "_apart", lambda a, b: True)
    monkeypatch.setattr(volume, "two_rows_fit", lambda _: two_rows)
    monkeypatch.setattr(volume, "check_numerals", lambda _: check(there))
    assert reader._second_chamber(found, check(own)) is second

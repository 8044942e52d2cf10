"""When the marks settle the numbering without the numbers, and when they speak against them."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision.graduations.decision import (
    CLEAR_MARGIN,
    COUNT_MARGIN,
    FAR_BEHIND,
    contradicted,
    counted,
)
from vision.graduations.fit import Ladder
from vision.graduations.numeral_evidence import NumeralCheck
from vision.scale_file.scale import load_scale
from vision.volume import read as volume
from vision.volume.read import _Reader

EVEN, TWO_ROWS = load_scale("quay-60"), load_scale("slate-50")


def ladder(lead: float, misfit_share: float, scale=EVEN, seen: float = 1.0) -> Ladder:
    """All of a ladder that is asked for here: its lead by the marks and its misfit."""
    marks = np.arange(len(scale.marks)) < seen * len(scale.marks)
    found = SimpleNamespace(
        scale=scale, seen=marks, pitch_px=10.0, height_mm=np.array(
            [m.height_mm for m in scale.marks]),
        pose=SimpleNamespace(residual_px=10.0 * misfit_share),
        evidence=SimpleNamespace(margin=lambda _: lead, best_shift=0))
    found.tidy, found.fair = (getattr(Ladder, name).fget(found) for name in ("tidy", "fair"))
    return found  # type: ignore[return-value]


@pytest.mark.parametrize(("lead", "misfit_share", "settled"), [
    (COUNT_MARGIN, 0.03, True), (COUNT_MARGIN - 0.1, 0.03, False),
    (COUNT_MARGIN, 0.06, False),        # a row found in grain
    (CLEAR_MARGIN, 0.06, True), (CLEAR_MARGIN - 0.1, 0.06, False),
    (CLEAR_MARGIN, 0.12, False),
])
def test_a_count_needs_a_lead_and_more_of_it_where_marks_are_out_of_place(
        lead, misfit_share, settled):
    assert counted(ladder(lead, misfit_share), complete=True) is settled
    assert not counted(ladder(lead, misfit_share), complete=False)


@pytest.mark.parametrize(("scale", "lead", "settled"), [
    (TWO_ROWS, 0.5, True), (TWO_ROWS, -0.5, False), (EVEN, 0.5, False)])
def test_two_rows_in_place_need_no_lead(scale, lead, settled):
    assert counted(ladder(lead, 0.03, scale), complete=True) is settled
    assert not counted(ladder(lead, 0.03, scale, seen=0.8), complete=True)


@pytest.mark.parametrize(("lead", "misfit_share", "against"), [
    (1.0, 0.08, False), (-1.0, 0.03, False), (-1.0, 0.08, True),
    (FAR_BEHIND + 1.0, 0.01, False), (FAR_BEHIND - 1.0, 0.01, True),
])
def test_numbers_do_not_prove_what_the_marks_contradict(lead, misfit_share, against):
    assert contradicted(ladder(lead, misfit_share)) is against


@pytest.mark.parametrize(("there", "followed"), [("agree", True), ("unread", False),
                                                 ("disagree", False), ("other", False)])
def test_a_leaning_is_followed_only_to_where_the_numbers_agree(monkeypatch, there, followed):
    def check(verdict: str, leaning: int = 0) -> NumeralCheck:
        return NumeralCheck(verdict, 0, 6.0, 3, True, 0, "", 1, leaning)  # type: ignore[arg-type]

    reader, moved = _Reader.__new__(_Reader), SimpleNamespace(name="moved")
    monkeypatch.setattr(volume, "renumbered", lambda _, shift: (5.0 + shift, (10.0, 20.0)))
    monkeypatch.setattr(reader, "_ladder",
                        lambda fixed, near: moved if fixed[0] == 2.0 else pytest.fail("where?"))
    monkeypatch.setattr(volume, "check_numerals", lambda _: check(there))
    first = ladder(0.0, 0.08)
    found = reader._numbered(first, check("unread", leaning=-3))
    assert (found is not None and found[0] is moved) is followed
    assert reader._numbered(first, check("unread")) is None
    assert reader._numbered(first, check("agree"))[0] is first

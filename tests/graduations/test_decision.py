"""When the marks settle the numbering without the numbers, and when they speak against them."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision.graduations.decision import accept_by_count, reject_by_marks
from vision.graduations.fit import GraduationFit
from vision.graduations.numeral_evidence import NumeralCheck
from vision.parameters import (
    ALONE_LOG_ODDS,
    BESIDE_LOG_ODDS,
    CLEAR_COUNT_LOG_ODDS,
    HOPELESS_LOG_ODDS,
)
from vision.scale_file.scale import load_scale
from vision.volume import number as stage
from vision.volume.locate import Hints

EVEN, TWO_ROWS = load_scale("quay-60"), load_scale("slate-50")


def fit(log_odds: float, misfit_share: float, scale=EVEN, seen: float = 1.0,
        beside: float = -20.0) -> GraduationFit:
    """All of a ladder that is asked for here: its lead by the marks and its misfit."""
    marks = np.arange(len(scale.marks)) < seen * len(scale.marks)
    found = SimpleNamespace(
        scale=scale, seen=marks, pitch_px=10.0, height_mm=np.array(
            [m.height_mm for m in scale.marks]),
        relative_residual=misfit_share,
        evidence=SimpleNamespace(margin=lambda _: log_odds, best_shift=0, beside_log_odds=beside))
    return found  # type: ignore[return-value]


@pytest.mark.parametrize(("log_odds", "misfit_share", "settled"), [
    (ALONE_LOG_ODDS, 0.03, True), (ALONE_LOG_ODDS - 0.1, 0.03, False),
    (ALONE_LOG_ODDS, 0.06, False),        # a row found in grain
    (CLEAR_COUNT_LOG_ODDS, 0.06, True), (CLEAR_COUNT_LOG_ODDS - 0.1, 0.06, False),
    (CLEAR_COUNT_LOG_ODDS, 0.12, False),
])
def test_a_count_needs_a_lead_and_more_of_it_where_marks_are_out_of_place(
        log_odds, misfit_share, settled):
    assert accept_by_count(fit(log_odds, misfit_share), complete=True) is settled
    assert not accept_by_count(fit(log_odds, misfit_share), complete=False)


@pytest.mark.parametrize(("scale", "log_odds", "settled"), [
    (TWO_ROWS, 0.5, True), (TWO_ROWS, -0.5, False), (EVEN, 0.5, False)])
def test_two_rows_in_place_need_no_lead(scale, log_odds, settled):
    assert accept_by_count(fit(log_odds, 0.03, scale), complete=True) is settled
    assert not accept_by_count(fit(log_odds, 0.03, scale, seen=0.8), complete=True)


@pytest.mark.parametrize(("log_odds", "misfit_share", "against"), [
    (1.0, 0.08, False), (-1.0, 0.03, False), (-1.0, 0.08, True),
    (HOPELESS_LOG_ODDS + 1.0, 0.01, False), (HOPELESS_LOG_ODDS - 1.0, 0.01, True),
])
def test_numbers_do_not_prove_what_the_marks_contradict(log_odds, misfit_share, against):
    assert reject_by_marks(fit(log_odds, misfit_share)) is against


@pytest.mark.parametrize(("beside", "against"), [(BESIDE_LOG_ODDS - 1.0, False),
                                                (BESIDE_LOG_ODDS + 1.0, True)])
def test_numbers_read_a_mark_beside_their_own_prove_nothing(beside, against):
    """28 nats spoke for the neighbour, and two numbers for a value a whole mark too high."""
    assert reject_by_marks(fit(-beside, 0.02, beside=beside), 2) is against


@pytest.mark.parametrize(("shown", "misfit_share", "legible", "against"), [
    ("x" * 40 + "." * 20, 0.01, 3, False),              # the upper end lies in shadow
    ("." * 20 + "x" * 40, 0.01, 3, False),              # the lower end is under a cloth
    ("x" * 40 + "...x......x.........", 0.01, 3, False),  # one or another seems to be there
    ("x" * 40 + "." * 20, 0.01, 2, True),               # too few numbers
    ("x" * 40 + "." * 20, 0.04, 3, True),               # the marks are out of place
    ("x." * 30, 0.01, 3, True),                         # gaps all along
    ("x" * 20 + "." * 40, 0.01, 3, True),               # most of the scale is not there
])
def test_an_end_that_is_not_seen_does_not_unsettle_what_numbers_prove(
        shown, misfit_share, legible, against):
    one = fit(HOPELESS_LOG_ODDS - 60.0, misfit_share)
    one.seen = np.array([c == "x" for c in shown])
    assert reject_by_marks(one, legible) is against


@pytest.mark.parametrize(("there", "followed"), [("agree", True), ("unread", False),
                                                 ("disagree", False), ("other", False)])
def test_a_leaning_is_followed_only_to_where_the_numbers_agree(monkeypatch, there, followed):
    def check(verdict: str, preferred_shift: int = 0) -> NumeralCheck:
        return NumeralCheck(verdict, 0, 6.0, 3, True, 0, "", 1, preferred_shift)  # type: ignore[arg-type]

    moved = SimpleNamespace(name="moved")
    monkeypatch.setattr(stage, "_shifted", lambda _, shift, hints: moved if shift == -3
                        else pytest.fail("where?"))
    monkeypatch.setattr(stage, "check_numerals", lambda _: check(there))
    first = fit(0.0, 0.08)
    found = stage.as_preferred(first, check("unread", preferred_shift=-3), Hints())
    assert (found is not None and found[0] is moved) is followed
    assert stage.as_preferred(first, check("unread"), Hints()) is None
    assert stage.as_preferred(first, check("agree"), Hints())[0] is first

"""Competing places of the surface: the finder's belief, weighed by the gauge's close look."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision import surface_places
from vision.contact_line import ContactLine
from vision.surface import SURE_BELIEF
from vision.surface_input import BIN_CENTRES_MM
from vision.surface_nets import CloseLook
from vision.surface_places import Candidate, Place, Search, weigh


def place(height_mm: float, belief: float, odds: float) -> Place:
    return Place(height_mm, belief, None, CloseLook(np.array([1.0]), odds))


def test_a_place_that_looks_right_closely_wins_over_one_that_the_finder_preferred():
    (first, at), (second, _) = weigh([place(20.0, 0.6, 0.02), place(23.0, 0.35, 300.0)], 0.02)
    assert at.height_mm == 23.0
    assert first > SURE_BELIEF > second


def test_two_places_that_look_alike_stay_two():
    (first, _), (second, _) = weigh([place(20.0, 0.5, 100.0), place(23.0, 0.45, 100.0)], 0.03)
    assert first < SURE_BELIEF and second > 0.3


def test_a_place_that_looks_wrong_closely_is_not_read_for_want_of_others():
    (only, _), = weigh([place(20.0, 0.99, 0.01)], 0.005)
    assert only < SURE_BELIEF


def test_belief_in_nothing_needs_clear_odds_to_be_overcome():
    (doubtful, _), = weigh([place(20.0, 0.2, 3.0)], 0.8)
    (clear, _), = weigh([place(20.0, 0.2, 400.0)], 0.8)
    assert doubtful < SURE_BELIEF < clear


@pytest.mark.parametrize("odds", [0.5, 20.0])
def test_beliefs_leave_room_for_what_nobody_thought_of(odds):
    beliefs = [b for b, _ in weigh([place(20.0, 0.7, odds), place(26.0, 0.3, odds)], 0.0)]
    assert 0.0 < sum(beliefs) < 1.0


class TestTwoPlacesOfOneLine:
    """The finder points at 30 mm, and the clearest line nearby is elsewhere."""

    @staticmethod
    def look(monkeypatch, line_mm: float, odds: dict[float, float]):
        search = Search.__new__(Search)
        search.rgb, search.px_per_mm = np.zeros((2, 2, 3), np.uint8), 10.0
        search.ladder = SimpleNamespace(pose=None, scale=None, core_rad=(0, 0), long_rad=(0, 0))
        monkeypatch.setattr(surface_places, "find_contact_line", lambda *_: ContactLine(
            line_mm, 0.0, 4.0, 3.0, 0.05))
        sharp = np.zeros(len(BIN_CENTRES_MM))
        sharp[np.argmin(np.abs(BIN_CENTRES_MM - 0.5))] = 1.0  # half a millimetre below
        monkeypatch.setattr(search, "_gauge", lambda at: CloseLook(sharp, odds[at]))
        found = search.look_at(Candidate(30.0, 0.9))
        level = found.height_mm - BIN_CENTRES_MM
        mean = float(level @ found.look.probability)
        return mean, float(np.sqrt((level - mean) ** 2 @ found.look.probability)), found

    def test_a_line_close_by_is_the_place(self, monkeypatch):
        mean, sd, found = self.look(monkeypatch, 30.1, {30.1: 50.0})
        assert (mean, found.height_mm) == pytest.approx((29.6, 30.1)) and sd < 1e-6

    def test_what_they_disagree_about_widens_the_answer(self, monkeypatch):
        mean, sd, _ = self.look(monkeypatch, 30.8, {30.0: 40.0, 30.8: 40.0})
        assert mean == pytest.approx(29.9) and sd == pytest.approx(0.4, abs=0.01)

    def test_the_better_one_counts_for_more(self, monkeypatch):
        mean, sd, found = self.look(monkeypatch, 30.8, {30.0: 2.0, 30.8: 200.0})
        assert mean == pytest.approx(30.3, abs=0.02) and sd < 0.1
        assert found.look.odds == 200.0

"""The networks are asked no further than what follows from their answer can still change."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.meniscus_image import candidates
from vision.meniscus_image.candidates import MeniscusCandidate, RowPeak, Search
from vision.meniscus_image.features import BIN_CENTRES_MM
from vision.meniscus_image.networks import MOST_ODDS, OffsetPosterior, close_look, mirrored
from vision.parameters import OTHER_SIDE_NATS

EVEN = np.full(len(BIN_CENTRES_MM), 1.0 / len(BIN_CENTRES_MM))
LOG_ODDS = st.floats(math.log(MOST_ODDS) - 24.0, math.log(MOST_ODDS))


class Doubtful(Search):
    """A place that is looked at four times, with these answers one after the other."""

    def __init__(self, log_odds: list[float]) -> None:
        self.answers, self.asked = [math.exp(x) for x in log_odds], 0
        self.elevations: list[float] = []
        pose = SimpleNamespace(elevation_rad=lambda _: 0.1, elevation_sd_deg=lambda _: 2.0)
        self.fit = SimpleNamespace(pose=pose)  # type: ignore[assignment]
        self.looked_at = [(np.zeros(0), np.zeros(0))]
        self.px_per_mm = self.foot_mm = 1.0

    def bore(self, height_mm: float) -> tuple[float, float]:
        return 15.0, 1.5

    def next(self, _: object, elevation_deg: float, *__: object) -> OffsetPosterior:
        self.asked += 1
        self.elevations.append(elevation_deg)
        return OffsetPosterior(EVEN, self.answers[self.asked - 1])


@pytest.fixture(scope="module", autouse=True)
def no_pictures():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candidates, "view", lambda *_: None)
        patch.setattr(candidates, "close_look", lambda *_: None)
        patch.setattr(candidates, "mirrored", lambda _: None)
        yield patch


def asked(log_odds: list[float], least: float) -> tuple[OffsetPosterior, int]:
    search = Doubtful(log_odds)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candidates, "offset_posterior", search.next)
        return search.offset_at(30.0, least), search.asked


@given(st.lists(LOG_ODDS, min_size=4, max_size=4), LOG_ODDS)
@settings(max_examples=200, deadline=None)
def test_odds_that_matter_are_those_of_all_looks(log_odds, log_least):
    least, true = math.exp(log_least), math.exp(sum(log_odds) / 4)
    look, _ = asked(log_odds, least)
    if true > least * (1 + 1e-9):
        assert look.odds == pytest.approx(true, rel=1e-12)
    else:  # the most that they could have been, and still too few
        assert true * (1 - 1e-9) <= look.odds <= least * (1 + 1e-9)


def test_one_clear_no_is_enough_and_without_a_limit_all_are_asked():
    no, yes = math.log(MOST_ODDS) - 24.0, math.log(MOST_ODDS)
    assert asked([no, *3 * [yes]], 0.5 * MOST_ODDS)[1] == 1
    assert asked([yes, no, *2 * [yes]], 0.5 * MOST_ODDS)[1] == 2
    assert asked([no, *3 * [yes]], 0.0)[1] == 4


def test_the_doubt_of_the_sight_line_goes_through_the_network():
    """Four elevations whose mean and standard deviation are those of what is known of it."""
    search = Doubtful([0.0] * 4)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candidates, "offset_posterior", search.next)
        search.offset_at(30.0)
    assert np.mean(search.elevations) == pytest.approx(math.degrees(0.1))
    assert np.std(search.elevations) == pytest.approx(2.0)


def test_a_mirror_image_is_the_same_place_with_left_and_right_changed_over():
    rng = np.random.default_rng(1)
    look = close_look(rng.uniform(0, 255, (160, 48, 3)), rng.uniform(0, 255, (384, 32, 3)))
    other = mirrored(look)
    assert np.array_equal(other.planes, look.planes[:, :, ::-1])
    assert np.array_equal(mirrored(other).seen, look.seen)


class TwoSided(Search):
    """What the other side would show: places of so much weight, with these odds."""

    def __init__(self, there: list[tuple[float, float]], elevation_deg: float = 12.0) -> None:
        self.there, self.asked = there, []
        pose = SimpleNamespace(elevation_rad=lambda _: math.radians(elevation_deg))
        self.fit = SimpleNamespace(pose=pose)  # type: ignore[assignment]

    def candidates(self, near_mm: float | None) -> tuple[list[RowPeak], float, float]:
        assert self.side == -1.0
        return [RowPeak(float(k), w) for k, (w, _) in enumerate(self.there)], 0.0, 0.0

    def offset_at(self, height_mm: float, least_odds: float = 0.0) -> OffsetPosterior:
        self.asked.append(height_mm)
        odds = math.exp(self.there[int(height_mm)][1])
        return OffsetPosterior(EVEN, odds if odds >= least_odds else (odds + least_odds) / 2)


def places(there: list[tuple[float, float]]) -> list[MeniscusCandidate]:
    return [MeniscusCandidate(50.0 + k, w, None, OffsetPosterior(EVEN, math.exp(x)))
            for k, (w, x) in enumerate(there)]


SHARES = st.lists(st.tuples(st.floats(0.02, 0.3), LOG_ODDS), min_size=1, max_size=4)


@pytest.mark.slow
@given(SHARES, SHARES)
@settings(max_examples=300, deadline=None)
def test_what_speaks_for_the_other_side_is_judged_as_if_all_had_been_asked(here, there):
    """The definition: the log of the ratio of the beliefs, weights times odds."""
    belief, other = (max(sum(w * math.exp(x) for w, x in side), 1e-6)
                     for side in (here, there[:len(here)]))
    true = math.log(other / belief)
    found = TwoSided(there).other_side_nats(places(here))
    if abs(true - OTHER_SIDE_NATS) > 1e-9:
        assert (found > OTHER_SIDE_NATS) == (true > OTHER_SIDE_NATS)
    if true > OTHER_SIDE_NATS:
        assert found == pytest.approx(true, abs=1e-9)
    else:
        assert found >= true - 1e-9


def test_a_surface_that_shows_well_is_not_looked_at_from_the_other_side():
    search = TwoSided([(1.0, math.log(MOST_ODDS))])
    assert search.other_side_nats(places([(1.0, math.log(MOST_ODDS) - 3.0)])) <= OTHER_SIDE_NATS
    assert search.asked == []
    assert search.other_side_nats(places([(1.0, math.log(MOST_ODDS) - 5.0)])) > OTHER_SIDE_NATS
    assert search.asked == [0.0]

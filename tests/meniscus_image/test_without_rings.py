"""A tube with marks right round is looked at with them and without them."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from search_stand_in import StandIn

from vision.meniscus_image import candidates, detect
from vision.meniscus_image.candidates import MeniscusCandidate, RowPeak, Search
from vision.meniscus_image.features import BIN_CENTRES_MM
from vision.meniscus_image.networks import OffsetPosterior
from vision.parameters import HARDLY_ODDS, LEAST_ODDS, SURE_PLACE
from vision.scale_file.scale import load_scale

SCALE = load_scale("heron-100")
AS_IT_IS, BARE = np.zeros((4, 4, 3), np.uint8), np.ones((4, 4, 3), np.uint8)
P = np.exp(-0.5 * ((BIN_CENTRES_MM - 2.0) / 0.2) ** 2)


class Told(StandIn):
    """One place: at 38 mm in both pictures together, at 40 mm in the one without rings alone."""

    def __init__(self, together: float, alone: float) -> None:
        self.answers = {2: (38.0, together), 1: (40.0, alone)}
        self.asked: list[int] = []

    def looking_at(self, pictures, *_):
        self.asked.append(len(pictures))
        assert pictures[-1] is BARE
        self.place_mm, self.odds = self.answers[len(pictures)]
        return self

    def candidates(self, near_mm):
        return [RowPeak(self.place_mm, 0.99)], 0.0, 0.0

    def measure(self, peak):
        return MeniscusCandidate(peak.height_mm, peak.weight, None,
                                 OffsetPosterior(P / P.sum(), self.odds))

    def at_back_rim(self, height_mm):
        return False


@pytest.fixture
def found(monkeypatch):
    def ask(told: Told):
        monkeypatch.setattr(detect, "Search", told.looking_at)
        for name, value in {"is_printed_ring": False, "occluded": False, "is_outshone": False,
                            "without_rings": BARE, "parting_at": None, "room_share": 0.0,
                            "ends_there": False
                            }.items():
            monkeypatch.setattr(detect, name, lambda *_, value=value: value)
        fit = SimpleNamespace(pose=SimpleNamespace(elevation_rad=lambda _: 0.05), scale=SCALE)
        return detect.find_meniscus(AS_IT_IS, fit, 8.0)
    return ask


@pytest.mark.parametrize(("together", "alone", "read_at_mm"), [
    (5000.0, 5000.0, 38.0),                              # what both show together comes first
    (0.5 * LEAST_ODDS, 2.0 * HARDLY_ODDS, 40.0),
    (0.5 * LEAST_ODDS, 0.9 * HARDLY_ODDS, 38.0),         # not so much like a surface
])
def test_which_picture_is_believed(found, together, alone, read_at_mm):
    told = Told(together, alone)
    place = found(told)
    assert place.candidates[0].height_mm == read_at_mm
    assert place.stands == (together > LEAST_ODDS or alone > HARDLY_ODDS)
    assert told.asked == ([2] if together > LEAST_ODDS else [2, 1])


def test_what_does_not_stand():
    p = np.array([1.0])
    sure = (RowPeak(30.0, SURE_PLACE),)
    one = detect.MeniscusPosterior(None, 30.0, np.zeros(1), p, 0.0, 12.0, 1.6, sure, 0.0)
    assert one.stands
    for spoilt in ("ring", "doubted", "of_the_room", "parts_nothing", "at_step", "occluded",
                   "contested", "outshone"):
        assert not detect.replace(one, **{spoilt: True}).stands, spoilt
    assert not detect.replace(one, candidates=()).stands
    assert not detect.replace(one, p_absent=0.6).stands
    assert not detect.replace(one, candidates=(RowPeak(30.0, SURE_PLACE - 0.01),)).stands


def test_the_networks_are_asked_about_every_picture_and_the_mean_counts(monkeypatch):
    """Rows 10 and 20 of two pictures: half of the belief in each, and the odds' geometric mean."""
    monkeypatch.setattr(candidates, "view", lambda rgb, *_: rgb)
    monkeypatch.setattr(candidates, "close_look", lambda seen, _: seen)
    monkeypatch.setattr(candidates, "mirrored", lambda look: look)

    def rows(whole, *_):
        p = np.zeros(384)
        p[10 if whole is AS_IT_IS else 20] = 0.9
        return p, 0.1

    def posterior(look, *_):
        return OffsetPosterior(P / P.sum(), 4.0 if look is AS_IT_IS else 400.0)

    monkeypatch.setattr(candidates, "row_probability", rows)
    monkeypatch.setattr(candidates, "offset_posterior", posterior)
    pose = SimpleNamespace(elevation_rad=lambda _: 0.05, elevation_sd_deg=lambda _: 0.1)
    search = Search((AS_IT_IS, BARE), SimpleNamespace(pose=pose, scale=SCALE), 8.0)
    places, p_absent, _ = search.candidates(None)
    assert [round(q.weight, 6) for q in places] == [0.45, 0.45]
    assert p_absent == pytest.approx(0.1)
    assert search.offset_at(30.0).odds == pytest.approx(40.0)

"""Another place in which the row network believes is looked at closely, however like a surface the
first one is."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from search_stand_in import StandIn

from vision.meniscus_image import detect
from vision.meniscus_image.candidates import MeniscusCandidate, RowPeak
from vision.meniscus_image.features import BIN_CENTRES_MM
from vision.meniscus_image.networks import MOST_ODDS, OffsetPosterior
from vision.parameters import SURE_PLACE, WORTH_SHOWING
from vision.scale_file.scale import load_scale

SCALE = load_scale("heron-100")


class Search(StandIn):
    """Places at 38 and 76 mm: the row network's belief in the second, and its odds seen closely."""

    def __init__(self, belief: float, odds: float, rim_mm: float | None = None) -> None:
        self.rim_mm = rim_mm
        self.peaks = [RowPeak(38.0, 1.0 - belief), RowPeak(76.0, belief)]
        self.odds = {38.0: MOST_ODDS, 76.0: odds}
        self.measured: list[float] = []

    def candidates(self, near_mm):
        return self.peaks, 0.0, 0.0

    def measure(self, peak):
        self.measured.append(peak.height_mm)
        p = np.exp(-0.5 * ((BIN_CENTRES_MM - 2.0) / 0.2) ** 2)
        return MeniscusCandidate(peak.height_mm, peak.weight, None,
                                 OffsetPosterior(p / p.sum(), self.odds[peak.height_mm]))

    def at_back_rim(self, height_mm):
        return height_mm == self.rim_mm


@pytest.fixture
def found(monkeypatch):
    def ask(search: Search):
        for name, value in {"Search": search, "is_printed_ring": False, "occluded": False,
                            "is_outshone": False, "without_rings": None, "room_share": 0.0,
                            "ends_there": False}.items():
            monkeypatch.setattr(detect, name, lambda *_, value=value: value)
        fit = SimpleNamespace(pose=SimpleNamespace(elevation_rad=lambda _: 0.05), scale=SCALE)
        return detect.find_meniscus(np.zeros((4, 4, 3), np.uint8), fit, 8.0)
    return ask


@pytest.mark.parametrize(("belief", "odds", "competing"), [
    (0.34, MOST_ODDS, True),    # both like any surface
    (0.34, 0.5, False),         # seen closely the second is none
    (WORTH_SHOWING + 0.01, MOST_ODDS, False),
    (0.01, MOST_ODDS, False),   # not worth a look
])
def test_a_second_place_is_weighed(found, belief, odds, competing):
    search = Search(belief, odds)
    place = found(search)
    assert search.measured == ([38.0, 76.0] if belief > WORTH_SHOWING else [38.0])
    assert (place.candidates[0].weight < SURE_PLACE) == competing == place.competing


@pytest.mark.parametrize(("belief", "rim_mm", "competing"), [
    (0.34, 38.0, True),     # the rim looks like any surface, the surface itself is faint
    (0.34, 76.0, False),    # the other place is at a rim
    (0.34, None, False),
    (0.01, 38.0, False),    # nowhere else does anything look like a surface
])
def test_at_the_back_of_a_rim_a_close_look_tells_nothing(found, belief, rim_mm, competing):
    place = found(Search(belief, 0.001 * MOST_ODDS, rim_mm))
    assert place.candidates[0].height_mm == 38.0 and place.competing == competing

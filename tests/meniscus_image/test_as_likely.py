"""A plain line that parts little, a film's edge, beside a fainter one that parts two media."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from drawn_ladders import even_scale

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.candidates import MeniscusCandidate, RowPeak, Search
from vision.meniscus_image.detect import _as_likely
from vision.meniscus_image.networks import OffsetPosterior
from vision.meniscus_image.parting import Parting, parting_at
from vision.meniscus_image.views import WHOLE_COLUMNS, whole_grid
from vision.parameters import HARDLY_ODDS, LEAST_ODDS

FIT = cast(GraduationFit, SimpleNamespace(scale=even_scale()))
TOP_MM = FIT.scale.highest_mark.height_mm
GRID = whole_grid(0.0, TOP_MM)
SURFACE_MM, FILM_MM = 15.0, 45.0


def tube(below_surface: float, below_film: float) -> np.ndarray:
    """An unrolled tube whose brightness changes by so much at the surface and at a film's edge."""
    z = GRID.height_mm[:, None] + np.zeros((1, WHOLE_COLUMNS))
    wall = 150.0 + below_film * (z < FILM_MM) + below_surface * (z < SURFACE_MM)
    noise = np.random.default_rng(3).normal(0, 2.0, (*wall.shape, 3))
    return np.asarray(wall[..., None] + noise, np.float32)


def asked(whole: np.ndarray, odds: float, peaks: list[RowPeak], here_odds: float = 200.0
          ) -> tuple[MeniscusCandidate | None, float]:
    def measure(peak: RowPeak) -> MeniscusCandidate:
        return MeniscusCandidate(peak.height_mm, peak.weight, None,
                                 OffsetPosterior(np.ones(3) / 3, odds))

    search: Any = SimpleNamespace(whole=whole, grid=GRID, fit=FIT, measure=measure)
    here = cast(Parting, parting_at(whole, GRID, FIT, FILM_MM))
    best = MeniscusCandidate(FILM_MM, 0.6, None, OffsetPosterior(np.ones(3) / 3, here_odds))
    return _as_likely(cast(Search, search), peaks, best, here)


PEAKS = [RowPeak(FILM_MM, 0.6), RowPeak(SURFACE_MM, 0.2)]


def test_the_place_where_the_tube_changes_more_is_asked_about():
    place, share = asked(tube(-40.0, -8.0), LEAST_ODDS + 1.0, PEAKS)
    assert place is not None and place.height_mm == SURFACE_MM
    assert share == pytest.approx(0.25)


@pytest.mark.parametrize(("whole", "odds", "peaks"), [
    (tube(-8.0, -40.0), 5.0, PEAKS),                    # the tube changes less there
    (tube(-40.0, -8.0), 0.9 * LEAST_ODDS, PEAKS),       # it is something else
    (tube(-40.0, -8.0), 5.0, PEAKS[:1]),                # nobody thought of it
    (tube(-40.0, -8.0), 5.0, [PEAKS[0], RowPeak(FILM_MM - 3.0, 0.2)]),  # the same place
])
def test_else_it_is_not(whole, odds, peaks):
    assert asked(whole, odds, peaks) == (None, 0.0)


@pytest.mark.parametrize(("whole", "here_odds", "belief", "differ"), [
    (tube(-20.0, -60.0), 0.9 * HARDLY_ODDS, 0.31, True),
    (tube(-20.0, -60.0), 1.1 * HARDLY_ODDS, 0.31, False),   # it looks enough like a surface
    (tube(-20.0, -60.0), 0.9 * HARDLY_ODDS, 0.29, False),   # the row network believes in it less
    (tube(0.0, -60.0), 0.9 * HARDLY_ODDS, 0.31, False),     # nothing changes there
])
def test_where_the_two_networks_differ_both_places_are_asked_about(
        whole, here_odds, belief, differ):
    peaks = [RowPeak(FILM_MM, 0.6), RowPeak(SURFACE_MM, belief)]
    place, share = asked(whole, 0.01, peaks, here_odds)
    assert (place is not None) is differ
    assert share == (pytest.approx(belief / (belief + 0.6)) if differ else 0.0)

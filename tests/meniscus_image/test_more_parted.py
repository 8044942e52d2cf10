"""A plain line that parts little, a film's edge, beside a fainter one that parts two media."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from drawn_ladders import even_scale

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.candidates import MeniscusCandidate, RowPeak, Search
from vision.meniscus_image.detect import _more_parted
from vision.meniscus_image.networks import OffsetPosterior
from vision.meniscus_image.parting import Parting, parting_at
from vision.meniscus_image.views import WHOLE_COLUMNS, whole_grid
from vision.parameters import LEAST_ODDS

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


def asked(whole: np.ndarray, odds: float, peaks: list[RowPeak]
          ) -> tuple[MeniscusCandidate | None, float]:
    def measure(peak: RowPeak) -> MeniscusCandidate:
        return MeniscusCandidate(peak.height_mm, peak.weight, None,
                                 OffsetPosterior(np.ones(3) / 3, odds))

    search: Any = SimpleNamespace(whole=whole, grid=GRID, fit=FIT, measure=measure)
    here = cast(Parting, parting_at(whole, GRID, FIT, FILM_MM))
    return _more_parted(cast(Search, search), peaks, FILM_MM, here)


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

"""A line close beside the surface that may as well be its front edge."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision.meniscus_image.candidates import LevelMode, MeniscusCandidate, RowPeak, Search
from vision.meniscus_image.detect import MeniscusPosterior, _with
from vision.meniscus_image.features import BIN_CENTRES_MM, HARD_ELEVATION_DEG
from vision.meniscus_image.networks import OffsetPosterior
from vision.meniscus_image.views import NEAR_MM
from vision.parameters import PLAIN_ODDS
from vision.scale_file.scale import load_scale

SCALE = load_scale("heron-100")
HERE_MM = 60.0
PER_DIVISION_MM = float(SCALE.height_mm(62.0) - SCALE.height_mm(60.0))


def look(offset_mm: float, odds: float) -> OffsetPosterior:
    p = np.exp(-0.5 * ((BIN_CENTRES_MM - offset_mm) / 0.2) ** 2)
    return OffsetPosterior(p / p.sum(), odds)


class Told(Search):
    """A search in which the offset network says so from so far beside ``HERE_MM``."""

    foot_mm, middle_mm = 0.0, SCALE.highest_mark.height_mm / 2

    def __init__(self, beside: dict[float, OffsetPosterior], elevation_deg: float) -> None:
        pose = SimpleNamespace(elevation_rad=lambda _: np.radians(elevation_deg))
        self.fit = SimpleNamespace(pose=pose, scale=SCALE)  # type: ignore[assignment]
        self.beside = beside

    def offset_at(self, height_mm: float, least_odds: float = 0.0) -> OffsetPosterior:
        return self.beside.get(height_mm - HERE_MM, look(height_mm - HERE_MM + 2.0, 0.1))


    def _glance(self, height_mm: float) -> float:
        return self.offset_at(height_mm).odds


search = Told


def place(odds: float = 2.0) -> MeniscusCandidate:
    return MeniscusCandidate(HERE_MM, 0.98, None, look(2.0, odds))


@pytest.mark.parametrize(("odds", "off_divisions", "contested"), [
    (1.6, 1.3, True), (1.6, -1.3, True),
    (1.2, 1.3, False),      # the line there looks less like a front edge
    (1.9, 0.7, False),      # the same line, seen from beside
])
@pytest.mark.parametrize("aside_mm", [-2.0, 2.0])
def test_another_line_that_is_as_much_a_front_edge(odds, off_divisions, contested, aside_mm):
    # the level read there is so many divisions from the one read here
    offset = aside_mm + 2.0 - off_divisions * PER_DIVISION_MM
    beside = {aside_mm: look(offset, odds)}
    assert (search(beside, 22.0).rival_line(place()) is not None) is contested
    assert (search(beside, -22.0).rival_line(place()) is not None) is contested


def test_in_a_level_view_there_is_no_back_edge_to_be_confused_with():
    beside = {2.0: look(0.5, 5.0)}
    assert search(beside, HARD_ELEVATION_DEG + 1.0).rival_line(place())
    assert not search(beside, HARD_ELEVATION_DEG - 1.0).rival_line(place())


class Elsewhere(Told):
    """One in which it sees an edge at a height, wherever it looks within its reach of that."""

    def __init__(self, edge_mm: float, odds: float) -> None:
        super().__init__({}, 3.0)
        self.edge_mm, self.odds = edge_mm, odds

    def offset_at(self, height_mm: float, least_odds: float = 0.0) -> OffsetPosterior:
        off = height_mm - self.edge_mm
        return look(2.0 + off, self.odds) if abs(off) <= NEAR_MM else look(2.0, 0.01)


@pytest.mark.parametrize("edge_mm", np.linspace(2.0, HERE_MM - 6.0, 9))
def test_a_plainer_edge_is_found_wherever_it_is(edge_mm):
    found = Elsewhere(edge_mm, 600.0).plainer_place([place(200.0)], 200.0)
    assert found is not None
    assert found.height_mm - found.look.mean_mm == pytest.approx(edge_mm - 2.0, abs=0.01)


def test_one_that_is_no_plainer_or_hardly_an_edge_is_not():
    assert Elsewhere(20.0, 150.0).plainer_place([place(200.0)], 200.0) is None
    assert Elsewhere(20.0, 0.9 * PLAIN_ODDS).plainer_place([place(5.0)], 5.0) is None
    assert Elsewhere(HERE_MM, 600.0).plainer_place([place(200.0)], 200.0) is None


def test_a_surface_with_a_plainer_one_elsewhere_is_asked_about():
    first = LevelMode(0.99, np.array([50.0, 50.1]), np.array([0.5, 0.5]))
    found = MeniscusPosterior(
        None, HERE_MM, np.array([2.0]), np.array([1.0]), 0.0, 15.0, 1.5,
        (RowPeak(HERE_MM, 0.99),), 0.0, modes=(first,))
    other = MeniscusCandidate(20.0, 0.0, None, look(2.0, 600.0))
    search = Elsewhere(20.0, 600.0)
    search.wall_shift_mm = lambda _: 0.0  # type: ignore[method-assign]
    both = _with(other, 0.75, found, search)
    assert not found.competing and both.competing
    assert [c.height_mm for c in both.candidates] == [HERE_MM, 20.0]
    assert both.candidates[1].weight == pytest.approx(0.75 * 0.99)
    assert sum(m.weight for m in both.modes) == pytest.approx(0.99)
    assert _with(None, 0.0, found, search) is found

"""A line close beside the surface that may as well be its front edge."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vision.meniscus_image.candidates import MeniscusCandidate, Search
from vision.meniscus_image.features import BIN_CENTRES_MM, HARD_ELEVATION_DEG
from vision.meniscus_image.networks import OffsetPosterior
from vision.scale_file.scale import load_scale

SCALE = load_scale("heron-100")
HERE_MM = 60.0
PER_DIVISION_MM = float(SCALE.height_mm(62.0) - SCALE.height_mm(60.0))


def look(offset_mm: float, odds: float) -> OffsetPosterior:
    p = np.exp(-0.5 * ((BIN_CENTRES_MM - offset_mm) / 0.2) ** 2)
    return OffsetPosterior(p / p.sum(), odds)


class Told(Search):
    """A search in which the offset network says so from so far beside ``HERE_MM``."""

    def __init__(self, beside: dict[float, OffsetPosterior], elevation_deg: float) -> None:
        pose = SimpleNamespace(elevation_rad=lambda _: np.radians(elevation_deg))
        self.fit = SimpleNamespace(pose=pose, scale=SCALE)  # type: ignore[assignment]
        self.beside = beside

    def offset_at(self, height_mm: float, least_odds: float = 0.0) -> OffsetPosterior:
        return self.beside.get(height_mm - HERE_MM, look(height_mm - HERE_MM + 2.0, 0.1))


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

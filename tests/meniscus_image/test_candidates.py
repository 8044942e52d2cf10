"""Competing places of the surface: the row network's belief, weighed by the offset network's
close look."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from vision.graduations.cylinder_pose import CylinderPose
from vision.imaging.photo import load_photo
from vision.meniscus_image.candidates import MeniscusCandidate, Search, _at_steps
from vision.meniscus_image.candidates import posterior_weights as weights
from vision.meniscus_image.features import BIN_CENTRES_MM
from vision.meniscus_image.networks import OffsetPosterior
from vision.parameters import SURE_PLACE
from vision.scale_file.scale import load_scale, parse_scale
from vision.volume.read import read_volume

SAMPLES = Path(__file__).parents[2] / "sample_images"


def sharp(height_mm: float, weight: float, odds: float, level_mm: float, sd_mm: float = 0.15
          ) -> MeniscusCandidate:
    """A place from which the offset network reads this level."""
    p = np.exp(-0.5 * ((height_mm - BIN_CENTRES_MM - level_mm) / sd_mm) ** 2)
    return MeniscusCandidate(height_mm, weight, None, OffsetPosterior(p / p.sum(), odds))


def place(height_mm: float, weight: float, odds: float) -> MeniscusCandidate:
    return sharp(height_mm, weight, odds, height_mm - 0.5)


def test_a_place_that_looks_right_closely_wins_over_one_that_the_finder_preferred():
    (first, at), (second, _) = weights([place(20.0, 0.6, 0.02), place(23.0, 0.35, 300.0)], 0.02)
    assert at.height_mm == 23.0
    assert first > SURE_PLACE > second


def test_two_places_that_look_alike_stay_two():
    (first, _), (second, _) = weights([place(20.0, 0.5, 100.0), place(23.0, 0.45, 100.0)], 0.03)
    assert first < SURE_PLACE and second > 0.3


def test_places_on_one_line_are_one_surface():
    (only, at), = weights([place(30.0, 0.5, 80.0), place(30.2, 0.4, 50.0)], 0.02)
    assert only > SURE_PLACE and at.height_mm == 30.0


def test_a_place_that_looks_wrong_closely_is_not_read_for_want_of_others():
    (only, _), = weights([place(20.0, 0.99, 0.01)], 0.005)
    assert only < SURE_PLACE


def test_belief_in_nothing_needs_clear_odds_to_be_overcome():
    (doubtful, _), = weights([place(20.0, 0.2, 3.0)], 0.8)
    (clear, _), = weights([place(20.0, 0.2, 400.0)], 0.8)
    assert doubtful < SURE_PLACE < clear


@pytest.mark.parametrize("odds", [0.5, 20.0])
def test_beliefs_leave_room_for_what_nobody_thought_of(odds):
    beliefs = [b for b, _ in weights([place(20.0, 0.7, odds), place(26.0, 0.3, odds)], 0.0)]
    assert 0.0 < sum(beliefs) < 1.0


class TestPlacesOfOneLine:
    def test_two_places_with_one_level_are_one(self):
        (only, at), = weights([sharp(30.0, 0.5, 90.0, 29.5), sharp(31.8, 0.45, 80.0, 29.6)], 0.01)
        assert only > SURE_PLACE and at.height_mm == 30.0

    def test_another_level_is_another_place(self):
        beliefs = [b for b, _ in weights([sharp(30.0, 0.5, 90.0, 29.5),
                                        sharp(31.8, 0.45, 80.0, 31.1)], 0.01)]
        assert len(beliefs) == 2 and max(beliefs) < SURE_PLACE

    def test_far_places_are_never_one(self):
        """The offset network sees only its own window: an answer at its end says nothing."""
        far = [sharp(30.0, 0.5, 90.0, 27.6), sharp(33.0, 0.45, 80.0, 27.6)]
        assert len(weights(far, 0.01)) == 2


@pytest.mark.slow
@pytest.mark.parametrize("photo", ["bench-1-pink.jpg", "bench-4-from-above.jpg",
                                   "bench-5-from-below.jpg"])
@pytest.mark.parametrize("off_mm", [-1.0, -0.5, 0.5, 1.0])
def test_the_gauge_finds_its_way_from_where_the_finder_errs(photo, off_mm):
    """A millimetre beside the line it still reads the same level."""
    search, found = searched(photo)
    level = float((found - BIN_CENTRES_MM) @ search.offset_at(found).probability)
    look = search.offset_at(found + off_mm)
    moved = float((found + off_mm - BIN_CENTRES_MM) @ look.probability)
    assert moved == pytest.approx(level, abs=0.3)
    assert look.odds > 1.0


@lru_cache(maxsize=4)
def searched(photo: str) -> tuple[Search, float]:
    """The search in a demo photo, and where the row network points."""
    seen: list[Search] = []
    candidates = Search.candidates

    def kept(search: Search, near_mm: float | None) -> object:
        seen.append(search)
        return candidates(search, near_mm)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Search, "candidates", kept)
        label = next(line for line in map(json.loads, (SAMPLES / "labels.jsonl").open())
                     if line["file"] == photo)
        read_volume(load_photo(SAMPLES / photo), load_scale(SAMPLES / label["scale"]))
    # the first: the next one asks what the surface would be, seen from its other side
    places, *_ = candidates(seen[0], None)
    return seen[0], places[0].height_mm


@pytest.mark.parametrize("elevation_deg", [0.0, 5.0, 18.0, -18.0])
def test_the_front_rims_of_a_step_are_no_surface(elevation_deg):
    """Seen from 18 degrees the back rim of a bore of 34 mm stands 34 tan 18 = 11.0 mm from the
    front one, by hand: a surface there is told from it by its looks."""
    scale = SimpleNamespace(diameter_knots=((10.0, 18.0), (13.0, 34.0)),
                            height_mm=lambda value: {10.0: 38.0, 13.0: 45.0}[value])
    pose = SimpleNamespace(elevation_rad=lambda height: np.radians(elevation_deg),
                           radius_at_mm=lambda height: np.array([10.6, 18.6]))
    height = np.arange(0.0, 90.0, 0.1)
    hit = height[_at_steps(scale, pose, height)]
    assert hit.min() == pytest.approx(38.0, abs=2.8)
    assert hit.max() == pytest.approx(45.0, abs=2.8)
    if abs(elevation_deg) == 18.0:
        back = (45.0 if elevation_deg > 0 else 38.0) + 34.0 * np.tan(np.radians(elevation_deg))
        assert not _at_steps(scale, pose, np.array([back])).any()
        assert _at_steps(scale, pose, np.array([back]), backs=True).all()


@pytest.mark.parametrize("pieces", [1, 12])
def test_a_cone_is_a_step_however_finely_its_file_divides_it(pieces):
    cone = np.linspace(0.0, 1.0, pieces + 1)
    scale = parse_scale({
        "name": "funnel", "unit": "mL", "wall_mm": 1.5, "capacity": 40,
        "inner_diameter_mm": [[0, 18.0], *([5 + c, 18 + 12 * c] for c in cone), [40, 30.0]],
        "outer_diameter_mm": 33.0,
        "height_mm": [[0, 0.0], [5, 19.6], [6, 22.0], [40, 70.0]], "marks": [
            {"from": 1, "to": 5, "step": 1, "length": "long", "label": True},
            {"from": 7, "to": 40, "step": 1, "length": "long", "label": True}]})
    pose = CylinderPose(np.array([300.0, 21.0, 0.0, 0.0, 0.0, 7.3]), np.zeros((6, 6)), 16.5,
                        (450.0, 600.0), 0.2)
    z = np.array([10.0, 18.0, 19.7, 20.8, 21.9, 22.5, 24.0, 60.0])
    assert list(_at_steps(scale, pose, z)) == [False, False, True, True, True, True, False, False]


def test_a_slow_taper_is_no_step():
    scale = parse_scale({
        "name": "taper", "unit": "mL", "wall_mm": 1.5, "capacity": 40,
        "inner_diameter_mm": [[0, 26.3], [40, 27.7]], "outer_diameter_mm": 33.0,
        "height_mm": [[0, 0.0], [40, 70.0]], "marks": [
            {"from": 1, "to": 40, "step": 1, "length": "long", "label": True}]})
    pose = CylinderPose(np.array([300.0, 35.0, 0.0, 0.0, 0.0, 7.3]), np.zeros((6, 6)), 16.5,
                        (450.0, 600.0), 0.2)
    assert not _at_steps(scale, pose, np.linspace(1, 69, 40)).any()

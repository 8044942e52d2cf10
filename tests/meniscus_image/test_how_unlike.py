"""What a place that is unlike the taught ones is refused for, by how unlike it is."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from search_stand_in import StandIn

from vision.meniscus_image import detect
from vision.meniscus_image.candidates import MeniscusCandidate, RowPeak
from vision.meniscus_image.features import BIN_CENTRES_MM
from vision.meniscus_image.networks import OffsetPosterior
from vision.meniscus_image.parting import Parting
from vision.parameters import (
    ALONE_ODDS,
    ARC_DEG,
    BOTH_BELIEVE,
    BOTH_ODDS,
    LEAST_BELIEVED,
    LEAST_LEVEL_ODDS,
    RING_ODDS,
    ROOM_ODDS,
    STRANGE_ODDS,
    UNLIKE_ODDS,
)
from vision.scale_file.scale import load_scale

SCALE = load_scale("heron-100")
NOTHING, LITTLE = Parting(0.01, 0.1), Parting(0.12, 0.4)


class Search(StandIn):
    """One place, of those odds, in which the row network believes so much."""

    def __init__(self, odds: float, belief: float) -> None:
        self.belief = belief
        p = np.exp(-0.5 * ((BIN_CENTRES_MM - 2.0) / 0.2) ** 2)
        self.place = MeniscusCandidate(50.0, belief, None, OffsetPosterior(p / p.sum(), odds))

    def candidates(self, near_mm):
        return [RowPeak(50.0, self.belief)], 0.0, 0.0

    def measure(self, candidate):
        return self.place


@pytest.fixture
def found(monkeypatch):
    """What is made of a place of some odds, which parts so much."""
    def ask(odds: float, parting: Parting, elevation_deg: float = 0.0, *, ring: bool = False,
            room: float = 0.0, light: bool = False, unexplained: float = 6.0,
            belief: float = 0.95 * BOTH_BELIEVE, near_mm: float | None = None):
        for name, value in {"Search": Search(odds, belief), "parting_at": parting,
                            "room_share": room, "is_printed_ring": ring, "occluded": False,
                            "is_outshone": False,
                            "not_of_the_room": unexplained, "without_rings": None,
                            "ends_there": light}.items():
            monkeypatch.setattr(detect, name, lambda *_, value=value: value)
        pose = SimpleNamespace(elevation_rad=lambda _: np.radians(elevation_deg))
        fit = SimpleNamespace(pose=pose, scale=SCALE)
        return detect.find_meniscus(np.zeros((4, 4, 3), np.uint8), fit, 8.0, near_mm)
    return ask


@pytest.mark.parametrize(("odds", "believed"), [
    (0.9 * STRANGE_ODDS, False), (1.1 * STRANGE_ODDS, True)])
def test_a_line_that_parts_nothing(found, odds, believed):
    assert found(odds, NOTHING).something_else is not believed
    assert not found(odds, LITTLE).something_else


@pytest.mark.parametrize(("odds", "elevation_deg", "believed"), [
    (0.9 * STRANGE_ODDS, 0.0, False),
    (1.1 * STRANGE_ODDS, 0.0, True),
    (0.9 * STRANGE_ODDS, ARC_DEG - 0.1, False),
    (0.9 * STRANGE_ODDS, ARC_DEG + 0.1, True),      # there a surface is an arc
    (0.9 * STRANGE_ODDS, -ARC_DEG - 0.1, True),
    (1.0, ARC_DEG + 0.1, False),                    # as soon something else
])
def test_a_line_beside_which_the_room_changes_more(found, odds, elevation_deg, believed):
    assert found(odds, LITTLE, elevation_deg, room=3.0).something_else is not believed


@pytest.mark.parametrize(("room", "unexplained", "elevation_deg", "believed"), [
    (1.2, 2.9, 0.0, False),            # the room, and nothing else
    (1.2, 3.1, 0.0, True),             # a colour of its own
    (1.2, float("nan"), 0.0, True),    # not seen beside the chamber
    (1.0, 2.9, 0.0, True),             # the wall changes more
    (1.2, 2.9, ARC_DEG + 0.1, True),   # there a surface is an arc
])
def test_what_the_room_shows_and_nothing_else_is_no_surface(
        found, room, unexplained, elevation_deg, believed):
    for odds in (1.1 * STRANGE_ODDS, 1.1 * UNLIKE_ODDS, 0.9 * ROOM_ODDS):
        assert found(odds, LITTLE, elevation_deg, room=room, unexplained=unexplained
                     ).of_the_room is not believed
    assert not found(1.1 * ROOM_ODDS, LITTLE, elevation_deg, room=room, unexplained=unexplained
                     ).of_the_room


@pytest.mark.parametrize(("odds", "believed"), [(0.9 * RING_ODDS, False), (1.1 * RING_ODDS, True)])
def test_a_line_on_a_mark_that_runs_round_the_tube(found, odds, believed):
    assert found(odds, LITTLE, ring=True).ring is not believed


@pytest.mark.parametrize(("odds", "believed"), [
    (0.9 * UNLIKE_ODDS, False), (1.1 * UNLIKE_ODDS, True)])
def test_the_end_of_a_mirrored_light(found, odds, believed):
    assert found(odds, LITTLE, light=True).of_a_light is not believed
    assert not found(odds, LITTLE).of_a_light


#: What a place is refused for unless both networks believe in it.
AGAINST = {"a line of the room": {"room": 3.0, "unexplained": 1.0}, "a ring": {"ring": True},
           "a view near level": {}}


@pytest.mark.parametrize("against", AGAINST.values(), ids=AGAINST)
@pytest.mark.parametrize(("belief", "odds", "believed"), [
    (1.01 * BOTH_BELIEVE, 1.1 * BOTH_ODDS, True),
    (0.99 * BOTH_BELIEVE, 1.1 * BOTH_ODDS, False),
    (1.01 * BOTH_BELIEVE, 0.9 * BOTH_ODDS, False),
    (1.0, 0.9 * LEAST_LEVEL_ODDS, True),
])
def test_where_both_networks_believe_nothing_more_is_asked(found, against, belief, odds, believed):
    assert found(odds, LITTLE, belief=belief, **against).something_else is not believed


@pytest.mark.parametrize("against", AGAINST.values(), ids=AGAINST)
def test_a_person_who_points_is_no_second_network(found, against):
    assert found(1.1 * BOTH_ODDS, LITTLE, belief=1.0, near_mm=50.0, **against).something_else


@pytest.mark.parametrize(("belief", "odds", "believed"), [
    (0.9 * LEAST_BELIEVED, 0.9 * ALONE_ODDS, False),
    (1.1 * LEAST_BELIEVED, 0.9 * ALONE_ODDS, True),
    (0.9 * LEAST_BELIEVED, 1.1 * ALONE_ODDS, True),
])
def test_a_place_in_which_one_network_alone_believes(found, belief, odds, believed):
    assert found(odds, LITTLE, belief=belief).doubted is not believed

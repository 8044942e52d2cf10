"""What no reading of a drawn room can do better than, against errors drawn here one by one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from vision.synthetic.bedside.at_best import at_best, offset_sd_mm, rooms_sd_mm
from vision.synthetic.bedside.geometry import View
from vision.synthetic.bedside.world import World, random_world


def room(apart_mm: tuple[float, float], **bodies: object) -> World:
    """A room seen straight from the front, landmark so far beside and before the system."""
    world = random_world(np.random.default_rng([7, 1]), "cards", False)
    at = world.zero.centre
    view = View(at + [0.0, 0.0, 1500.0], np.diag([1.0, -1.0, -1.0]), 1200.0, 1600, 1200)
    return replace(world, view=view, pole=None, cord=None,
                   landmark_point=at + [apart_mm[0], 30.0, apart_mm[1]],
                   facts=world.facts | {"panel_turn_deg": 0.0}, **bodies)  # type: ignore[arg-type]


def pole_at(world: World) -> tuple[np.ndarray, np.ndarray, float]:
    return world.zero.centre, np.array([0.0, 1.0, 0.0]), 12.0


def cord_at(world: World) -> tuple[np.ndarray, np.ndarray, float, float]:
    return world.zero.centre, world.zero.centre - [0.0, 300.0, 0.0], 1.0, 6.0


def test_a_panel_alone_is_off_by_its_own_lean():
    # Drawn with 0.5 degrees sideways and 1.2 out of the wall.
    assert offset_sd_mm(room((600.0, 0.0))) == pytest.approx(600 * math.radians(0.5), rel=1e-6)
    assert offset_sd_mm(room((0.0, 100.0))) == pytest.approx(100 * math.radians(1.2), rel=1e-6)


def test_pole_and_phone_count_by_what_they_may_be_off():
    world = room((600.0, 0.0))
    world = replace(world, pole=pole_at(world))
    expected = 600 * math.radians(1 / math.sqrt(1 / 0.5**2 + 1 / 0.5**2 + 1 / 0.7**2))
    assert offset_sd_mm(world, 0.7) == pytest.approx(expected, rel=1e-6)


def test_a_cord_tells_nothing_of_the_lean_along_the_sight_line():
    beside, before = room((600.0, 0.0)), room((0.0, 100.0))
    assert offset_sd_mm(replace(beside, cord=cord_at(beside))) < 0.01
    assert offset_sd_mm(replace(before, cord=cord_at(before))) == pytest.approx(
        offset_sd_mm(before), rel=1e-3)


def test_a_cord_whose_bob_is_out_of_the_photo_is_none():
    world = room((600.0, 0.0))
    # The photo reaches 750 mm below the card.
    long = world.zero.centre, world.zero.centre - [0.0, 760.0, 0.0], 1.0, 6.0
    assert offset_sd_mm(replace(world, cord=long)) == offset_sd_mm(world)


def test_of_normal_errors_the_table_of_the_normal_distribution_holds():
    one = at_best(np.array([3.0, 3.0]))
    assert one.mean_mm == pytest.approx(3 * 0.79788, rel=1e-4)
    assert one.p95_mm == pytest.approx(3 * 1.95996, rel=1e-4)
    # Half of them known: the 90th percentile of the other half.
    assert at_best(np.array([3.0, 1e-9])).p95_mm == pytest.approx(3 * 1.64485, rel=1e-3)


@pytest.mark.slow
def test_leans_drawn_one_by_one_and_weighed_leave_as_much():
    # Least squares of leans that are drawn as the rooms draw them: 0.5 and 0.5 for a pole, 0.5 and
    # 1.2 for a panel turned by 20 degrees, 0.7 for the phone.
    rng = np.random.default_rng(4)
    world = room((500.0, 150.0))
    world = replace(world, pole=pole_at(world), facts=world.facts | {"panel_turn_deg": 20.0})
    turn = math.radians(20.0)
    own = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    spreads = [np.eye(2) * 0.5**2, own @ np.diag([0.5**2, 1.2**2]) @ own.T, np.eye(2) * 0.7**2]
    leans = [rng.multivariate_normal([0, 0], c, 40000) for c in spreads]
    weights = [np.linalg.inv(c) for c in spreads]
    answer = sum(x @ w for x, w in zip(leans, weights, strict=True)) @ np.linalg.inv(sum(weights))
    error_mm = np.radians(answer) @ [500.0, 150.0]
    assert offset_sd_mm(world, 0.7) == pytest.approx(float(error_mm.std()), rel=0.02)


def test_rooms_are_the_same_each_time_and_the_hand_adds_to_them():
    alone, held = rooms_sd_mm(20, 3), rooms_sd_mm(20, 3, hand=True)
    assert np.array_equal(alone, rooms_sd_mm(20, 3))
    # A pointer to 1 mm and a card to 0.5.
    assert (held**2 - alone**2 > 1.25 - 1e-6).all()

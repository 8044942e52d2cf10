"""A line that parts two media, and one that parts nothing: a dried trace, a film's edge."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from drawn_ladders import even_scale

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.parting import of_one_tube, parting_at
from vision.meniscus_image.views import WHOLE_COLUMNS, whole_grid

LEVEL_MM = 24.0


FIT = cast(GraduationFit, SimpleNamespace(scale=even_scale()))
TOP_MM = FIT.scale.highest_mark.height_mm
GRID = whole_grid(0.0, TOP_MM)


def tube(below: float = 0.0, lens: int = 0, line: float = 40.0) -> np.ndarray:
    """An unrolled tube before a room that grows darker to one side, a shadow near its edge, marks,
    and a line at the level; below it lighter by ``below``, what is behind moved by ``lens``."""
    z, across = GRID.height_mm[:, None], np.linspace(-1, 1, WHOLE_COLUMNS)[None]
    room = 150.0 + 25.0 * across - 50.0 * (np.abs(across - 0.75) < 0.1) + 0.0 * z
    room = np.where(z < LEVEL_MM, np.roll(room, lens, axis=1) + below, room)
    room = np.where((np.abs(z % 1.5) < 0.2) & (np.abs(across) < 0.3), 30.0, room)
    room = np.where(np.abs(z - LEVEL_MM) < 0.3, room - line, room)
    room = np.where(z > TOP_MM + 3.0, 60.0, room)  # the lid
    noise = np.random.default_rng(3).normal(0, 2.0, (*room.shape, 3))
    return np.asarray(np.clip(room[..., None] + noise, 0, 255), np.float32)


def test_a_line_with_the_same_tube_above_and_below_parts_nothing():
    found = parting_at(tube(), GRID, FIT, LEVEL_MM)
    assert found is not None and found.of_nothing
    assert found.contrast < 0.02


@pytest.mark.parametrize(("below", "lens"), [(-40.0, 0), (25.0, 0), (0.0, -4), (0.0, 6)])
def test_a_colour_or_a_shadow_that_lies_elsewhere_below_the_line_is_a_liquid(below, lens):
    found = parting_at(tube(below, lens), GRID, FIT, LEVEL_MM)
    assert found is not None and not found.of_nothing


def test_a_faint_change_counts_where_nothing_else_changes_more():
    wall = tube(-8.0)
    wall[GRID.height_mm > TOP_MM + 3.0] = np.nan  # no lid in sight
    found = parting_at(wall, GRID, FIT, LEVEL_MM)
    assert found is not None and found.contrast < 0.09 and not found.of_nothing


@pytest.mark.filterwarnings("error")
def test_a_side_that_lies_outside_the_photo_is_left_out():
    wall = tube(-40.0)
    wall[:, -4:] = np.nan
    found = parting_at(wall, GRID, FIT, LEVEL_MM)
    assert found is not None and not found.of_nothing
    wall[:, -16:] = np.nan
    assert parting_at(wall, GRID, FIT, LEVEL_MM) is None


def test_outside_the_photo_nothing_is_claimed():
    wall = tube()
    wall[GRID.height_mm < LEVEL_MM - 2.0] = np.nan
    assert parting_at(wall, GRID, FIT, LEVEL_MM) is None
    assert parting_at(tube(), GRID, FIT, 500.0) is None



def test_rings_beyond_a_step_of_the_bore_say_nothing_of_one_below_it():
    """One ring in the narrow foot of a tube, ten in its wide part, which look otherwise."""
    z = np.array([10.0, 40.0, 45.0, 50.0])
    fit = SimpleNamespace(scale=SimpleNamespace(
        value_at=lambda height: height / 2, inner_radius_mm=lambda v: 6.0 if v < 10 else 10.0))
    assert list(of_one_tube(fit, 9.0, z)) == [True, False, False, False]  # type: ignore[arg-type]
    assert list(of_one_tube(fit, 42.0, z)) == [False, True, True, True]  # type: ignore[arg-type]


@pytest.mark.parametrize(("below", "plain"), [(-60.0, True), (-20.0, False), (0.0, False)])
def test_what_is_another_colour_below_than_above_parts_plainly(below, plain):
    found = parting_at(tube(below), GRID, FIT, LEVEL_MM)
    assert found is not None and found.is_plain is plain

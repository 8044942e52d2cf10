"""Rooms of anything at all, marks right round, chambers without a liquid: what is drawn for
teaching."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from vision.scale_file.scale import load_scale
from vision.synthetic.chamber.collage import CELLS, collage
from vision.synthetic.chamber.model import ChamberScene, Panel
from vision.synthetic.chamber.render import render_light
from vision.synthetic.chamber.room import RoomShader
from vision.synthetic.chamber.sample import sample_scene
from vision.training.strange_rooms import emptied, is_empty, ringed, strange_room
from vision.training.surface_data import NOWHERE_MM, views


def scene_of(seed: int) -> ChamberScene:
    return sample_scene(np.random.default_rng(seed), "easy", load_scale("quay-60"),
                        width=450, height=600)


@pytest.mark.parametrize("seed", range(40))
def test_a_collage_is_a_picture_of_its_own_that_can_be_drawn_again(seed: int) -> None:
    one = collage(seed).copy()
    assert one.shape == (3, CELLS, CELLS) and one.dtype == np.float32
    assert one.min() > 0 and one.max() < 1
    collage.cache_clear()
    assert np.array_equal(one, collage(seed))
    assert not np.array_equal(one, collage(seed + 1000))


def test_most_collages_show_plain_differences_of_light() -> None:
    spread = np.array([collage(seed).std() for seed in range(60)])
    assert (spread > 0.03).mean() > 0.8


def test_a_wall_shows_the_collage_cell_by_cell() -> None:
    """At the middle of a cell its own colour in the room's light, half way to the next the mean."""
    scene = scene_of(1)
    room = replace(scene.room, panel=None, wall_pattern="collage", wall_pattern_seed=5,
                   wall_pattern_mm=2.0)
    shader = RoomShader(replace(scene, room=room), np)
    picture = collage(5)
    columns, rows = np.array([3, 160, 319, 100]), np.array([7, 160, 30, 319])
    for half in (0.0, 0.5):
        x = (columns + half - CELLS // 2) * 2.0
        z = (rows - CELLS // 2) * 2.0
        p = [x, np.full(4, room.wall_y_mm), z]
        seen = np.array(shader._flat(p, room.wall_rgb, "collage", room.wall_pattern_rgb, 2.0, 0.0,
                                     5))
        light = np.array([c * np.ones(4) for c in shader.lit(
            (0.0, -1.0, 0.0), shader._shadows(p))])
        beside = picture[:, rows, (columns + 1) % CELLS]
        want = (1 - half) * picture[:, rows, columns] + half * beside
        assert np.allclose(seen, want * light, rtol=1e-5)


@pytest.mark.parametrize("seed", range(6))
def test_a_strange_room_is_behind_the_chamber_and_nowhere_before_it(seed: int) -> None:
    scene, rng = scene_of(2), np.random.default_rng(seed)
    outer = scene.scale.outer_radius_mm
    room = strange_room(scene.room, outer, rng)
    assert room.wall_pattern == "collage" and room.wall_y_mm > outer
    assert room.boxes[:len(scene.room.boxes)] == scene.room.boxes
    for box in room.boxes[len(scene.room.boxes):]:
        assert box.low[1] > outer
    for rod in room.rods[len(scene.room.rods):]:
        assert min(rod.start[1], rod.end[1]) - rod.radius_mm > outer
    assert (room.lights, room.ambient) == (scene.room.lights, scene.room.ambient)


def test_in_an_empty_chamber_a_meniscus_of_any_shape_does_nothing_to_the_light() -> None:
    scene = replace(scene_of(3), drops=())
    window = (100, 200, 350, 420)

    def light(angle_deg: float, empty: bool) -> np.ndarray:
        one = replace(scene, contact_angle_deg=angle_deg)
        return render_light(emptied(one) if empty else one, samples=1, window=window)[0]

    assert is_empty(emptied(scene)) and not is_empty(scene)
    empty, filled = (np.abs(light(30.0, e) - light(85.0, e)) for e in (True, False))
    assert empty.max() < 1 / 255 and empty.mean() < 1e-5
    assert filled.max() > 20 / 255 and filled.mean() > 1e-3


def test_views_of_an_empty_chamber_say_that_there_is_no_line() -> None:
    scene = emptied(scene_of(4))
    shown = views(scene, 4)
    assert shown["facts"][0] >= NOWHERE_MM and shown["facts"][2] >= NOWHERE_MM
    assert not shown["window"].any() and shown["decoy"].std() > 1
    assert np.isfinite(shown["facts"]).all()
    assert views(scene_of(4), 4)["facts"][0] < NOWHERE_MM


@pytest.mark.parametrize("seed", range(4))
def test_marks_right_round_close_behind_the_tube(seed: int) -> None:
    scene = ringed(scene_of(5), np.random.default_rng(seed))
    round_mm = 2 * math.pi * scene.scale.outer_radius_mm
    assert 0.999 * round_mm < scene.print.long_mm < round_mm


def test_batches_teach_nothing_of_a_line_in_an_empty_chamber(tmp_path: Path) -> None:
    torch = pytest.importorskip("torch", reason="teaching needs PyTorch")
    from vision.meniscus_image.views import WHOLE_ROWS
    from vision.training.surface_batches import Data, offset_batch, row_batch

    both = [views(scene_of(6), 6), views(emptied(scene_of(6)), 6)]
    np.savez(tmp_path / "s.npz", **{k: np.stack([v[k] for v in both]) for k in both[0]})
    data = Data([tmp_path / "s.npz"], "cpu")
    assert data.filled.tolist() == [True, False]
    which, dice = torch.arange(2), torch.Generator().manual_seed(1)
    _, rows = row_batch(data, which, dice, False)
    assert rows[1, WHOLE_ROWS] == 1 and rows[0, WHOLE_ROWS] == 0
    for train in (False, True):
        shown, told = offset_batch(data, which, dice, train)
        assert told[1, -1] == 0 and told[1, :-1].sum() == 0
        assert torch.isfinite(shown).all()


def test_a_panel_may_hold_a_collage() -> None:
    scene = scene_of(7)
    plain = replace(scene.room, panel=Panel(rgb=(0.5, 0.5, 0.5)))
    drawn = replace(plain, panel=Panel(pattern="collage", pattern_seed=9, pattern_mm=0.8))
    a, b = (render_light(replace(scene, room=room), samples=1, window=(0, 0, 450, 150))[0]
            for room in (plain, drawn))
    assert np.abs(a - b).mean() > 0.01

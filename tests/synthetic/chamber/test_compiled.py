"""Compiled rays against those of ``RoomShader`` and ``ChamberTracer``, on crops of scenes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.synthetic.chamber import compiled
from vision.synthetic.chamber.dataset import scene_for
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.render import render_light
from vision.synthetic.chamber.truth import scene_truth
from vision.training.strange_rooms import strange_room

pytest.importorskip("numba", reason="compiled rays need numba")
pytestmark = pytest.mark.slow

SEED, SIZE = 70552, (900, 1200)
#: What the light may differ by in the mean: a fiftieth of a step of 255 in white.
MEAN_STEP = 0.02 / 255


def both(scene: ChamberScene, monkeypatch: pytest.MonkeyPatch, sparing: bool
         ) -> list[tuple[np.ndarray, np.ndarray]]:
    """Light and kinds round the surface, as the tracer has them and as compiled rays do."""
    x, y = (round(v) for v in scene_truth(scene)["surface_px"])
    window, out = (x - 130, y - 160, x + 130, y + 160), []
    for fewest in (10**9, 0):
        monkeypatch.setattr(compiled, "FEWEST_PIXELS", fewest)
        out.append(render_light(scene, window=window, sparing=sparing))
    return out


@pytest.mark.parametrize("index", range(8))
@pytest.mark.parametrize("sparing", [False, True])
def test_light_and_kinds_are_the_same(index, sparing, monkeypatch):
    (light, kind), (again, other) = both(scene_for(SEED, index, None, None, SIZE), monkeypatch,
                                         sparing)
    assert light.dtype == again.dtype and light.shape == again.shape
    assert (kind != other).mean() < 1e-4  # at edges rounding decides
    gap = np.abs(light - again)
    assert gap.mean() < MEAN_STEP
    assert np.quantile(gap, 0.99) < 2 / 255


def test_two_chambers_in_one_picture_are(monkeypatch):
    scene = next(s for s in (scene_for(SEED, k, "unreadable", None, SIZE) for k in range(60))
                 if s.neighbour is not None)
    (light, _), (again, _) = both(scene, monkeypatch, True)
    assert np.abs(light - again).mean() < MEAN_STEP


@pytest.mark.parametrize("index", [1, 4])
def test_rooms_of_anything_at_all_are(index, monkeypatch):
    scene = scene_for(SEED, index, "easy", None, SIZE)
    strange = replace(scene, room=strange_room(scene.room, scene.scale.outer_radius_mm,
                                               np.random.default_rng(index)))
    (light, _), (again, _) = both(strange, monkeypatch, False)
    assert np.abs(light - again).mean() < MEAN_STEP
    (plain, _), _ = both(scene, monkeypatch, False)
    assert np.abs(plain - again).mean() > 100 * MEAN_STEP


def test_another_scene_is_told(monkeypatch):
    """The bounds would notice a liquid of another index, and a wall without drops."""
    scene = next(s for s in (scene_for(SEED, k, None, None, SIZE) for k in range(60)) if s.drops)
    (light, _), _ = both(scene, monkeypatch, False)
    denser = replace(scene, fluid=replace(scene.fluid, index=1.36))
    for changed in (denser, replace(scene, drops=())):
        _, (again, _) = both(changed, monkeypatch, False)
        assert np.abs(light - again).mean() > MEAN_STEP


def test_without_numba_the_tracer_itself_runs(monkeypatch):
    monkeypatch.setattr(compiled, "is_there", lambda: False)
    assert compiled.shaders(np, 10**7) == (compiled.RoomShader, compiled.ChamberTracer)

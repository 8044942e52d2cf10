"""Liquids brighter than the empty tube over them: what is drawn for teaching."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.scale_file.scale import load_scale
from vision.synthetic.chamber.sample import sample_scene
from vision.training.surface_data import dark_behind, milky_fluid
from vision.training.traced.draws import LIQUIDS, draw, made_bright


@pytest.mark.parametrize("seed", range(12))
def test_a_bright_chamber_stands_before_something_dark_and_mostly_scatters(seed: int) -> None:
    scene, _ = draw(seed, 0)
    bright = made_bright(scene, np.random.default_rng(seed))
    assert 0 < bright.behind <= 0.5 < scene.behind == 1.0
    assert replace(bright, behind=1.0, mixed=None, liquid=scene.liquid, strength=scene.strength,
                   forward=scene.forward) == replace(scene, mixed=None)
    if bright.mixed is None:
        assert bright.liquid in LIQUIDS
        return
    absorbs, scatters, colour = bright.mixed
    assert max(absorbs) < 0.75 * scatters and min(colour) >= 0.65


def test_most_bright_chambers_hold_a_liquid_that_scatters() -> None:
    scene, _ = draw(1, 0)
    scattering = [made_bright(scene, np.random.default_rng(k)).mixed is not None
                  for k in range(200)]
    assert 0.65 < np.mean(scattering) < 0.85  # three in four: 0.75 +- 0.06 of 200


@pytest.mark.parametrize("seed", range(6))
def test_our_own_rooms_are_made_dark_behind_and_nowhere_else(seed: int) -> None:
    rng = np.random.default_rng(seed)
    scene = sample_scene(rng, "typical", load_scale("quay-60"))
    dark = dark_behind(scene.room, rng)
    assert np.max(dark.wall_rgb) <= 0.5 * np.max(scene.room.wall_rgb)
    assert (dark.panel is None) == (scene.room.panel is None)
    if dark.panel is not None and scene.room.panel is not None:
        assert np.allclose(np.divide(dark.panel.rgb, scene.room.panel.rgb),
                           np.divide(dark.wall_rgb, scene.room.wall_rgb))
    assert dark.lights == scene.room.lights and dark.ambient == scene.room.ambient


@pytest.mark.parametrize("seed", range(6))
def test_a_milky_liquid_turns_more_light_aside_than_it_takes(seed: int) -> None:
    scene = sample_scene(np.random.default_rng(seed), "easy", load_scale("quay-60"))
    milky = milky_fluid(scene.fluid, np.random.default_rng(seed))
    assert milky.scatter_per_mm > max(milky.absorption_per_mm)
    assert min(milky.scatter_rgb) >= 0.65 and milky.index == scene.fluid.index

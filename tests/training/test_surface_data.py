"""Views for teaching are what the reader would cut out of a photo of the same scene.

The front line's place is worked out again from the bore, Snell's law and the camera alone.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from vision.lesson.rounds import chamber_tasks
from vision.meniscus_image.unroll import view
from vision.meniscus_image.views import WINDOW_COLUMNS, WINDOW_ROWS, window_grid
from vision.optics.refraction import refracted_elevation_deg
from vision.synthetic.chamber.bore import scene_meniscus
from vision.synthetic.chamber.camera import view_of
from vision.synthetic.chamber.lesson import scene_of
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.render import Painter, render_light
from vision.training.strange_rooms import is_empty
from vision.training.surface_data import (
    NOWHERE_MM,
    TIERS,
    front_line_mm,
    main,
    pose_of,
    variants,
    view_light,
    views,
)


def scenes() -> list[ChamberScene]:
    """Three lesson pictures, from above, level and below, hanging plumb."""
    told = [t for t in chamber_tasks(3, 12) if t.view.lean_deg == 0]
    by_sight = sorted(told, key=lambda t: t.view.sight_deg)
    return [scene_of(t, (350, 700)) for t in (by_sight[0], by_sight[len(told) // 2], by_sight[-1])]


@pytest.mark.slow
@pytest.mark.parametrize("number", range(3))
def test_a_teaching_view_shows_what_the_reader_cuts_out_of_the_photo(number: int) -> None:
    scene = scenes()[number]
    pose, turn = pose_of(scene)
    camera = view_of(scene)
    grid = window_grid(front_line_mm(scene, pose, turn))
    light, _ = render_light(scene, samples=4)
    cut = view(light, pose, grid, camera.focal_px / scene.camera.distance_mm)
    seen = view_light(pose, grid, Painter(scene, camera, np, 4), (2, 2),
                      np.random.default_rng(number))
    # The photo is a little softer than single rays, so neighbouring cells are taken together.
    cells = (WINDOW_ROWS // 8, 8, WINDOW_COLUMNS // 6, 6, 3)
    a, b = (x.reshape(cells).mean(axis=(1, 3)) for x in (cut, seen))
    assert a.std() > 0.02, "nothing to compare in this window"
    assert np.abs(a - b).mean() < 0.1 * a.std()
    # A view cut one millimetre higher is told from it.
    higher = view(light, pose, replace(grid, top_mm=grid.top_mm + 1.0),
                  camera.focal_px / scene.camera.distance_mm).reshape(cells).mean(axis=(1, 3))
    assert np.abs(higher - b).mean() > 2 * np.abs(a - b).mean()


@pytest.mark.parametrize("number", range(3))
def test_the_front_line_is_the_rim_of_the_meniscus_seen_through_the_wall(number: int) -> None:
    scene = scenes()[number]
    pose, turn = pose_of(scene)
    profile = scene_meniscus(scene)
    outer = scene.scale.outer_radius_mm
    wall = outer - profile.bore_radius_mm
    x, y, eye = view_of(scene).centre
    rim = scene.level_mm + profile.rim_mm
    # A ray in the middle plane: from the eye to the outer face, then through the wall to the rim.
    low, high = rim - 5.0, rim + 5.0
    for _ in range(60):
        face = 0.5 * (low + high)
        slope = math.degrees(math.atan2(eye - face, math.hypot(x, y) - outer))
        inner = face - wall * math.tan(math.radians(float(
            refracted_elevation_deg(slope, scene.tube.index))))
        low, high = (face, high) if inner < rim else (low, face)
    # A fifth of a row of the close view; the slope is taken at the rim, not at the face.
    assert front_line_mm(scene, pose, turn) == pytest.approx(face, abs=0.02)


@pytest.mark.slow
def test_a_shard_holds_sound_samples(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "shard.npz"
    monkeypatch.setattr("sys.argv", ["surface_data", str(out), "--count", "1", "--seed", "5"])
    main()
    with np.load(out) as shard:
        count = len(shard["facts"])
        assert count == len(list(variants(5 * 1_000_003))) > 0
        assert {k: shard[k].dtype for k in ("whole", "window", "decoy")} == dict.fromkeys(
            ("whole", "window", "decoy"), np.dtype(np.uint8))
        assert all(len(shard[k]) == count for k in shard.files)
        assert np.isfinite(shard["facts"]).all()
        line, centre = shard["facts"][:, 0], shard["facts"][:, 1]
        filled = line < NOWHERE_MM
        assert filled.any()
        assert (np.abs(line - centre)[filled] <= 0.06).all()  # half a row, and rounding
        assert (shard["window"].reshape(count, -1).any(axis=1) == filled).all()


@pytest.mark.slow
def test_the_same_seed_gives_the_same_views() -> None:
    scene = next(s for s in variants(7) if not is_empty(s))
    assert scene.tier in TIERS
    one, two = views(scene, 7), views(scene, 7)
    assert all(np.array_equal(one[k], two[k]) for k in one)
    assert not np.array_equal(one["window"], views(scene, 8)["window"])

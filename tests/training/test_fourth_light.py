"""Rendered light of the fourth kind against Snell, Beer and Lambert, and a white room."""

from __future__ import annotations

import dataclasses
import importlib.util
import math

import numpy as np
import pytest
from scipy.optimize import brentq

from vision.scale_file.scale import parse_scale
from vision.training.fourth.chance import drawn
from vision.training.fourth.facts import Facts, Inside, Liquid
from vision.training.fourth.lens import PAD_PX, lens_before
from vision.training.fourth.truth import label_of, surface_of

# not importorskip: LuxCore comes in by the module that sees to what must be loaded before it
if importlib.util.find_spec("pyluxcore") is None:
    pytest.skip("LuxCore is not installed", allow_module_level=True)
pytestmark = pytest.mark.slow
from vision.training.fourth import render  # noqa: E402
from vision.training.fourth.solids import ball, block, sheet  # noqa: E402

BORE, OUTER, AWAY = 15.0, 17.0, 300.0


def chamber(elevation_deg: float, *, absorbs: tuple[float, float, float] = (0, 0, 0),
            scatters: float = 0.0, level: float | None = 42.0, angle: float = 90.0,
            zoom: float = 1.0) -> Facts:
    """An even tube, 30 mm wide, with rings all round at 14.1 and 56.6 mm."""
    scale = parse_scale({
        "name": "rings", "unit": "mL", "direction": "up", "inner_diameter_mm": 2 * BORE,
        "wall_mm": OUTER - BORE, "capacity": 45, "height_mm": [[0, 0.0], [45, 63.662]],
        "marks": [{"from": 10, "to": 40, "step": 30, "length": "short"}]})
    size = (round(150 * zoom), round(300 * zoom))
    base = drawn(4, 0, size)[0]
    lens = lens_before(42.0, AWAY, elevation_deg, (0.0, 32.0, 0.0), 0.0, 60.0, 0.0, size)
    ink = dataclasses.replace(base.ink, round="all", stroke_mm=0.9, cover=1.0, label=False,
                              colour=(0.01, 0.01, 0.01))
    return dataclasses.replace(
        base, scale=scale, level_mm=level, wall_angle_deg=angle, tilt=(0.0, 0.0), floor_mm=-8.0,
        rim_mm=72.0, wall_index=1.5, liquid=Liquid("x", 1.334, absorbs, scatters),
        inside=Inside(), ink=ink, lens=lens, elevation_deg=elevation_deg, turn_deg=0.0,
        distance_mm=AWAY, aperture_mm=0.0, capillary_mm=2.6)


def seen(facts: Facts, heights: tuple[float, float], half_mm: float = 3.0, *,
         across: float = 0.0, samples: int = 48, stage: render.Stage | None = None
         ) -> tuple[np.ndarray, int]:
    """Light of a strip before the axis between two heights, in a room that is white all round,
    and the row of the whole picture at which it starts."""
    if stage is None:
        stage = render.build(facts)
        stage.surroundings(np.ones((8, 16, 3)))
    corners = np.array([[across + s * half_mm, y, 0.0] for y in heights for s in (-1, 1)])
    px = facts.lens.straight(corners) + PAD_PX
    box = (*np.floor(px.min(0)).astype(int), *np.ceil(px.max(0)).astype(int))
    light = render.traced(stage, facts, tuple(int(b) for b in box),  # type: ignore[arg-type]
                          samples, smooth=False)
    return light, int(box[1]) - PAD_PX


@pytest.mark.parametrize("height", [50.0, 28.0], ids=["dry", "wet"])
def test_a_white_room_stays_white(height: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(render, "fit", lambda *_: None)  # clear matter only
    light, _ = seen(chamber(0.0), (height - 4, height + 4), samples=700)
    assert light.mean() == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("scatters", [0.03, 0.15])
def test_a_cloudy_liquid_swallows_little_light_itself(scatters: float) -> None:
    # paths that are mirrored to and fro in the wall are cut short: measured 0.88 and 0.83; with
    # LuxCore's scattering up to the boundary it would be 0.43 (see contents.cloudy_core)
    light, _ = seen(chamber(0.0, scatters=scatters), (24, 32), samples=96)
    assert 0.8 < light.mean() < 1.03


def test_a_cloudy_block_within_a_clear_skin_swallows_none() -> None:
    facts, stage = chamber(0.0, scatters=0.05), render.Stage()
    stage.medium("liquid", 1.334, priority=10)
    stage.medium("core", 1.334, (0, 0, 0), 0.05, priority=11)
    for name, skin in (("liquid", 0.0), ("core", 0.03)):
        low, high = np.array([-15, 17, -15]) + skin, np.array([15, 47, 15]) - skin
        stage.put(block(low, high), stage.boundary(name))
    stage.surroundings(np.ones((8, 16, 3)))
    light, _ = seen(facts, (27, 37), samples=96, stage=stage)
    assert light.mean() == pytest.approx(1.0, abs=0.03)


def test_light_is_absorbed_as_beer_and_lambert_say(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(render, "fit", lambda *_: None)
    lost = np.array([0.004, 0.038, 0.024])
    facts = chamber(0.0, absorbs=tuple(lost))  # type: ignore[arg-type]
    light, _ = seen(facts, (24, 34), half_mm=1.5, samples=700)
    # what passes a slab with two mirroring faces, and what its faces mirror of the white room
    # (G. G. Stokes, Proc R Soc 1862;11:545-556); the faces of wall and liquid mirror 0.3 %
    mirrored, kept = (0.5 / 2.5) ** 2, np.exp(-2 * BORE * lost)
    through = (1 - mirrored) ** 2 * kept / (1 - (mirrored * kept) ** 2)
    back = mirrored * (1 + kept * through)
    assert light.mean((0, 1)) == pytest.approx(through + back, abs=0.02)


def slab(a: float, index: float) -> float:
    """How much a ray that has the slope ``a`` (rad) in air rises per mm within a medium."""
    return math.tan(math.asin(math.sin(a) / index))


def row_through_wall(facts: Facts, height: float, behind: float) -> float:
    """The row at which a point of the middle plane appears, ``behind`` mm of liquid and the near
    wall behind the outer surface (and the far wall, if that is the whole bore)."""
    eye = np.array(facts.lens.eye)
    walls = 2 if behind >= 2 * BORE else 1

    def miss(a: float) -> float:
        return float(eye[1] + (eye[2] - OUTER) * math.tan(a) + walls * (OUTER - BORE) * slab(a, 1.5)
                     + behind * slab(a, 1.334) - height)

    a = brentq(miss, -1.0, 1.0)
    entered = eye[1] + (eye[2] - OUTER) * math.tan(a)
    return float(facts.lens.appears(np.array([[0.0, entered, OUTER]]))[0, 1])


@pytest.mark.parametrize("elevation", [-20.0, 12.0])
def test_the_ring_behind_appears_where_snell_puts_it(elevation: float) -> None:
    facts = chamber(elevation, zoom=2.0)
    height = float(facts.scale.height_mm(10.0))
    row = row_through_wall(facts, height, 2 * BORE)
    straight = facts.lens.appears(np.array([[0.0, height, -OUTER]]))[0, 1]
    at_axis = 32 + (facts.lens.centre[1] - row) * AWAY / facts.lens.focal_px
    light, first = seen(facts, (at_axis - 5, at_axis + 5), half_mm=1.5)
    column = light.mean((1, 2))
    rows = first + np.arange(len(column))
    near = np.abs(rows - row) < 5
    dark = np.clip(column[near].max() - column[near], 0, None)
    assert dark.max() > 0.3
    found = float((dark * rows[near]).sum() / dark.sum())
    assert abs(found - row) < 0.6 < abs(straight - row)


@pytest.mark.parametrize(("elevation", "angle"), [(-12.0, 50.0), (-4.0, 75.0), (-20.0, 30.0)])
def test_the_near_contact_line_is_where_the_label_says(elevation: float, angle: float) -> None:
    # from below: under the contact line one looks into dark liquid, above it through dry wall
    facts = chamber(elevation, absorbs=(20.0, 20.0, 20.0), angle=angle, zoom=4.0)
    contact = float(facts.scale.height_mm(label_of(facts)["rim_value"]))
    assert contact == pytest.approx(42.0 + surface_of(facts)[1][-1], abs=1e-3)
    row = row_through_wall(facts, contact, 0.0)
    at_axis = 32 + (facts.lens.centre[1] - row) * AWAY / facts.lens.focal_px
    light, first = seen(facts, (at_axis - 4, at_axis + 4), half_mm=1.0)
    column = light.mean((1, 2))
    half = (column[:5].mean() + column[-5:].mean()) / 2
    assert column[:5].mean() > 0.7 > 0.1 > column[-5:].mean()
    crossing = int(np.nonzero(column < half)[0][0])
    share = (column[crossing - 1] - half) / (column[crossing - 1] - column[crossing])
    per_mm = facts.lens.focal_px / AWAY
    assert (first + crossing - 1 + share - row) / per_mm == pytest.approx(0.0, abs=0.12)


@pytest.mark.parametrize("level", [42.0, None], ids=["filled", "empty"])
def test_only_a_filled_tube_turns_what_is_behind_round(level: float | None) -> None:
    # a rod of water is a thick lens: far things appear left for right; an empty tube bends little
    facts = chamber(0.0, level=level)
    stage = render.build(facts)
    stage.surroundings(np.ones((8, 16, 3)))
    for x, colour in ((-800, (0.8, 0.0, 0.0)), (0, (0.0, 0.0, 0.8))):
        stage.put(sheet((x, -700, -250), (800, 0, 0), (0, 1500, 0)), stage.paint(colour))
    left, _ = seen(facts, (24, 34), half_mm=1.0, across=-6.0, stage=stage)
    right, _ = seen(facts, (24, 34), half_mm=1.0, across=6.0, stage=stage)
    redness = [float(p[..., 0].mean() - p[..., 2].mean()) for p in (left, right)]
    turned = redness[0] < -0.3 and redness[1] > 0.3
    upright = redness[0] > 0.3 and redness[1] < -0.3
    assert (turned, upright) == ((True, False) if level is not None else (False, True))


@pytest.mark.parametrize("coarse", [1, 2])
def test_things_are_rendered_where_the_labels_camera_puts_them(coarse: int) -> None:
    facts = dataclasses.replace(chamber(7.0, zoom=2.0), lens=lens_before(
        42.0, AWAY, 7.0, (0.0, 32.0, 0.0), 8.0, 60.0, 0.0, (300, 600)))
    points = np.array([[0.0, 56.0, 17.0], [10.0, 20.0, 3.0], [-9.0, 70.0, -15.0]])
    stage = render.Stage()
    stage.surroundings(np.full((8, 16, 3), 1e-4))
    for point in points:
        stage.put(ball(point, 2.0), stage.paint((0.5, 0.5, 0.5), gives=(1, 1, 1)))
    for x, y in facts.lens.straight(points):  # no bending in this camera
        left, top = int(x) - 14 + PAD_PX, int(y) - 18 + PAD_PX
        light = render.traced(stage, facts, (left, top, left + 28, top + 36), 64, coarse=coarse,
                              smooth=False)[..., 1]
        rows, columns = np.mgrid[:light.shape[0], :light.shape[1]]
        found = [coarse * (float((light * i).sum() / light.sum()) + 0.5) - 0.5 + start - PAD_PX
                 for i, start in ((columns, left), (rows, top))]
        assert found == pytest.approx([x, y], abs=0.1)

"""What belongs to the chamber and is not clear: print, the ring of an earlier level, ends."""

from __future__ import annotations

import math

import numpy as np

from vision.training.fourth.facts import Facts
from vision.training.fourth.ink import unrolled
from vision.training.fourth.luxcore import Stage
from vision.training.fourth.scales import bore_at, outside_at
from vision.training.fourth.solids import Solid, around, rod, together

#: Ink lies on the wall, a dried ring on the bore: gaps that no picture shows.
_ON_WALL_MM = 0.03


def fit(stage: Stage, facts: Facts) -> None:
    """Add it all."""
    low, high = facts.floor_mm - 1, facts.rim_mm - 0.5
    colours, cover = unrolled(facts, low, high)
    y = np.linspace(low, high, 200)
    stage.put(around(outside_at(facts.scale, y) + _ON_WALL_MM, y, facts.turn_deg),
              stage.paint(stage.picture(colours), cover=stage.picture(cover)))
    if facts.inside.ring_mm is not None:
        _dried_ring(stage, facts, facts.inside.ring_mm)
    rng = np.random.default_rng([facts.seed, 51])
    dark = rng.random() < 0.4
    shade = np.clip(rng.uniform(0.02, 0.3) if dark else rng.uniform(0.55, 0.85), 0, 1)
    tint = np.clip(shade * (1 + rng.normal(0, 0.25 if dark else 0.05, 3)), 0.01, 0.9)
    plastic = stage.paint(tint, gloss=0.04, rough=float(rng.uniform(0.05, 0.4)))
    stage.put(_foot(facts, rng), plastic)
    stage.put(_head(facts, rng), plastic)
    hose = stage.paint((0.6, 0.62, 0.65), gloss=0.05, rough=0.1)
    thick = float(rng.uniform(1.6, 3.2))
    stage.put(rod((0, facts.floor_mm - 12, 0), (rng.uniform(-20, 20), facts.floor_mm - 300, -5),
                  thick), hose)
    stage.put(rod((0, facts.rim_mm + 8, 0), (rng.uniform(-25, 25), facts.rim_mm + 400, -5),
                  thick), hose)


def _foot(facts: Facts, rng: np.random.Generator) -> Solid:
    """A cup under the tube whose skirt holds its lower end, and a cone to the outlet."""
    r = float(outside_at(facts.scale, facts.floor_mm)) + 0.3
    out, y = r + float(rng.uniform(1.0, 3.5)), facts.floor_mm
    skirt, deep = float(rng.uniform(0.5, 2.0)), float(rng.uniform(6, 16))
    line = [(2.5, y - 4 - deep), (out * 0.5, y - 4 - deep * 0.8), (out, y - 5), (out, y + skirt)]
    return together([*_straight(line), around(np.array([out, r]), np.full(2, y + skirt)),
                     around(np.array([r, r]), np.array([y + skirt, y - 3])),
                     around(np.array([r, 0.01]), np.full(2, y - 3.0))])


def _head(facts: Facts, rng: np.random.Generator) -> Solid:
    """A lid, flat or domed, with a rim over the tube's upper end."""
    r = float(outside_at(facts.scale, facts.rim_mm)) + 0.3
    out, y = r + float(rng.uniform(0.8, 4)), facts.rim_mm
    skirt, tall = float(rng.uniform(1, 4)), float(rng.uniform(4, 14))
    t = np.linspace(0, math.pi / 2, 12)
    dome = [(max(out * math.cos(a), 0.01), y + 2 + tall * math.sin(a)) for a in t]
    flat = [(out, y + tall), (0.01, y + tall)]
    line = [(out, y - skirt), *(dome if rng.random() < 0.5 else flat)]
    return together([*_straight(line),
                     around(np.array([0.01, r]), np.full(2, y + 0.2)),
                     around(np.array([r, r]), np.array([y + 0.2, y - skirt])),
                     around(np.array([r, out]), np.full(2, y - skirt))])


def _straight(line: list[tuple[float, float]]) -> list[Solid]:
    """Each piece of a line with its own edge."""
    return [around(np.array([a[0], b[0]]), np.array([a[1], b[1]]))
            for a, b in zip(line[:-1], line[1:], strict=True)]


def _dried_ring(stage: Stage, facts: Facts, at_mm: float) -> None:
    """A patchy line on the bore with a stain below it."""
    rng = np.random.default_rng([facts.seed, 52])
    y = np.linspace(at_mm - 6, at_mm + 2, 30)
    rows, columns = 160, 1024
    height = np.linspace(2, -6, rows)[:, None]
    a = np.linspace(0, 2 * math.pi, columns)
    lifted = 0.25 * sum(np.sin(k * a + rng.uniform(0, 7)) / k for k in range(1, 6))
    patchy = np.clip(0.75 + 0.35 * sum(np.sin(k * a + rng.uniform(0, 7)) / k**0.5
                                       for k in (2, 5, 9, 17)), 0.05, 1.2)
    line = np.exp(-(((height - lifted) / 0.3) ** 2))
    below = 0.25 * np.exp((height - lifted) / 2.2) * (height < lifted)
    cover = np.clip(facts.inside.ring_cover * (line + below) * patchy, 0, 0.85)
    cover[[0, -1]] = 0
    colour = 0.55 * np.exp(-14 * np.array(facts.liquid.absorbs)) * [1.0, 0.95, 0.85]
    stage.put(around(bore_at(facts.scale, y) - _ON_WALL_MM, y, facts.turn_deg),
              stage.paint(colour, cover=stage.picture(cover)))

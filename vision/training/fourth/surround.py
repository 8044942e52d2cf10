"""Light: what shines from far away as a picture all round, lamps near by, the phone's flash."""

from __future__ import annotations

import math

import numpy as np

from vision.training.fourth.facts import Facts
from vision.training.fourth.luxcore import Stage
from vision.training.fourth.solids import rod, sheet

#: Rows and columns of the picture of the surroundings.
_FAR = (128, 256)


def _glow(kelvin_like: float) -> np.ndarray:
    """A light's colour from warm (-1) to cool (1)."""
    return np.array([1 - 0.28 * kelvin_like, 1.0, 1 + 0.38 * kelvin_like])


def light_up(stage: Stage, facts: Facts) -> None:
    """Add all light; a sheet of white paper before the chamber gets about one."""
    rng = np.random.default_rng([facts.seed, 31])
    far = _room_picture(rng, facts.light)
    warm = {"desk": -0.7, "window": 0.4, "strips": 0.1, "flash": 0.2, "two colours": -0.6}
    dim = {"desk": 0.4, "flash": 0.3}.get(facts.light, 1.0)
    far *= float(rng.uniform(0.7, 1.2)) * dim
    stage.surroundings(far)
    middle = np.array([0.0, 0.5 * (facts.floor_mm + facts.rim_mm), 0.0])
    colour = _glow(warm[facts.light] + rng.normal(0, 0.15))
    if facts.light == "desk":
        _lamp(stage, middle + [rng.choice([-1, 1]) * rng.uniform(180, 450), rng.uniform(120, 400),
                               rng.uniform(-150, 350)], middle, rng.uniform(25, 60), 2.2, colour)
    elif facts.light == "two colours":
        side = float(rng.choice([-1, 1]))
        _lamp(stage, middle + [side * rng.uniform(350, 800), rng.uniform(0, 300),
                               rng.uniform(0, 400)], middle, rng.uniform(60, 140), 1.2, colour)
        _lamp(stage, middle + [-side * rng.uniform(350, 800), rng.uniform(0, 500),
                               rng.uniform(0, 500)], middle, rng.uniform(60, 140), 0.8,
              _glow(0.7))
    elif facts.light == "strips":
        for k in range(int(rng.integers(1, 4))):
            y, z = middle[1] + rng.uniform(900, 1400), rng.uniform(-700, 1500) + 300 * k
            gives = colour * float(rng.uniform(5, 12))
            stage.put(sheet((-700, y, z), (1400, 0, 0), (0, 0, 130)),
                      stage.paint((.8, .8, .8), gives=gives))
    if facts.light == "flash" or "glare" in facts.trouble:
        right, down, _ = facts.lens.axes
        where = np.array(facts.lens.eye) + right * rng.uniform(8, 16) + down * rng.uniform(-12, 6)
        _lamp(stage, where, middle, 3.5, 1.3, _glow(0.1))


def _lamp(stage: Stage, where: np.ndarray, at: np.ndarray, radius: float, strength: float,
          colour: np.ndarray) -> None:
    """A shining square that faces a point and lights white paper there by ``strength``."""
    way = at - where
    far = float(np.linalg.norm(way))
    way = way / far
    side = np.cross(way, [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, way)
    gives = strength * math.pi * far**2 / (4 * radius**2)
    stage.put(sheet(where + radius * (side - up), -2 * radius * side, 2 * radius * up),
              stage.paint((.8, .8, .8), gives=colour * gives))
    if radius > 20:  # its arm
        stage.put(rod(where - way * 6, where - way * 6 + [0, -700, 0], 6),
                  stage.paint((.1, .1, .1)))


def _room_picture(rng: np.random.Generator, light: str) -> np.ndarray:
    """(H, W, 3): ceiling, walls, floor, and a window or lamps for the tube to mirror."""
    h, w = _FAR
    height = np.linspace(math.pi / 2, -math.pi / 2, h)[:, None, None]
    way = np.linspace(-math.pi, math.pi, w)[None, :, None]
    walls = rng.uniform(0.25, 0.6) * (1 + rng.normal(0, 0.08, 3))
    ceiling = rng.uniform(0.6, 1.1) * (1 + rng.normal(0, 0.04, 3))
    floor = rng.uniform(0.1, 0.3) * (1 + rng.normal(0, 0.1, 3))
    room = np.where(height > 0.55, ceiling, np.where(height > -0.45, walls, floor))
    room = room * (1 + 0.25 * np.cos(way - rng.uniform(-3, 3)))
    for _ in range(int(rng.integers(2, 7))):  # furniture, doors, people
        at, wide = rng.uniform(-math.pi, math.pi), rng.uniform(0.08, 0.5)
        top = rng.uniform(-0.3, 0.4)
        inside = (np.abs(way - at) < wide) & (height < top) & (height > -1.1)
        room = np.where(inside, rng.uniform(0.03, 0.5) * (1 + rng.normal(0, 0.3, 3)), room)
    if light in ("window", "two colours") or rng.random() < 0.3:
        at, wide = rng.uniform(-math.pi, math.pi), rng.uniform(0.2, 0.55)
        low, high = rng.uniform(-0.25, 0.0), rng.uniform(0.25, 0.6)
        up = np.clip((height - low) / (high - low), 0, 1)
        bright = rng.uniform(4, 14) if light == "window" else rng.uniform(1.5, 4)
        sky = bright * (np.array([0.8, 0.95, 1.2]) * up + np.array([1.2, 1.1, 0.95]) * (1 - up))
        pane = (np.abs(way - at) < wide) & (height > low) & (height < high)
        bars = (np.abs((way - at) % (wide * 0.66)) < 0.025) | (np.abs(height - high * 0.4) < 0.02)
        room = np.where(pane & ~bars, sky, room)
    if light != "window":
        for _ in range(int(rng.integers(1, 4))):
            at, wide = rng.uniform(-math.pi, math.pi), rng.uniform(0.1, 0.5)
            high = rng.uniform(0.6, 1.2)
            lamp = (np.abs(way - at) < wide) & (np.abs(height - high) < rng.uniform(0.03, 0.09))
            room = np.where(lamp, rng.uniform(4, 12), room)
    return np.asarray(np.clip(room, 0.01, None), np.float32)

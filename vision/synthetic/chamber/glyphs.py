"""Printed figures drawn by our own strokes: a field of distances for each sign.

A sign is a set of polylines in a box one unit high; the hand of the lettering
(width, slant, roundness, variants) is a handful of numbers, so that no font
file is needed and two scales need not look alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

SIGNS = "0123456789.-mL"
ROWS, COLS = 72, 48


@dataclass(frozen=True)
class Lettering:
    """The hand of the printed figures; lengths in units of the figure height.

    ``width`` of a figure, ``stroke`` thickness, ``slant`` (tangent),
    ``squareness`` 2 (round) to 6 (nearly square bowls), ``gap`` between figures.
    """

    width: float = 0.55
    stroke: float = 0.11
    slant: float = 0.0
    squareness: float = 2.3
    gap: float = 0.2
    foot_on_one: bool = False
    open_four: bool = True
    straight_tails: bool = False

    @property
    def advance(self) -> float:
        """Distance from one figure to the next, in figure heights."""
        return self.width + self.gap


def _bowl(
    cx: float, cy: float, rx: float, ry: float, start: float, stop: float, n: float
) -> np.ndarray:
    angle = np.radians(np.linspace(start, stop, 25))
    c, s = np.cos(angle), np.sin(angle)
    k = 2.0 / n
    return np.stack(
        [cx + rx * np.sign(c) * np.abs(c) ** k, cy + ry * np.sign(s) * np.abs(s) ** k], 1
    )


def _curve(p0: tuple[float, float], p1: tuple[float, float], p2: tuple[float, float]) -> np.ndarray:
    t = np.linspace(0, 1, 13)[:, None]
    a, b, c = (np.array(p, float) for p in (p0, p1, p2))
    return (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c


def strokes(sign: str, hand: Lettering) -> list[np.ndarray]:
    """Polylines of a sign, each an (N, 2) array in a box ``hand.width`` by 1."""
    w, n = hand.width, hand.squareness

    def line(*points: tuple[float, float]) -> np.ndarray:
        return np.array([(x * w, y) for x, y in points], float)

    def six() -> list[np.ndarray]:
        bowl = _bowl(w / 2, 0.31, w / 2, 0.31, 0, 360, n)
        tail = (line((0.06, 0.45), (0.72, 1.0)) if hand.straight_tails
                else _curve((0.0, 0.31), (0.02 * w, 0.92), (0.8 * w, 1.0)))
        return [bowl, tail]

    if sign == "0":
        return [_bowl(w / 2, 0.5, w / 2, 0.5, 0, 360, n)]
    if sign == "1":
        one = [line((0.22, 0.78), (0.58, 1.0), (0.58, 0.0))]
        return [*one, line((0.25, 0.0), (0.9, 0.0))] if hand.foot_on_one else one
    if sign == "2":
        top = _bowl(w / 2, 0.72, w / 2, 0.28, 170, -35, n)
        return [np.vstack([top, line((0.0, 0.0), (1.0, 0.0))])]
    if sign == "3":
        top = _bowl(w * 0.48, 0.755, w * 0.45, 0.245, 155, -90, n)
        return [top, _bowl(w * 0.48, 0.255, w * 0.52, 0.255, 90, -155, n)]
    if sign == "4":
        if hand.open_four:
            return [line((0.42, 1.0), (0.0, 0.33), (1.0, 0.33)), line((0.74, 0.66), (0.74, 0.0))]
        return [line((0.74, 0.0), (0.74, 1.0), (0.0, 0.28), (1.0, 0.28))]
    if sign == "5":
        bowl = _bowl(w * 0.48, 0.33, w * 0.52, 0.33, 140, -150, n)
        return [np.vstack([line((0.92, 1.0), (0.14, 1.0), (0.08, 0.53)), bowl])]
    if sign == "6":
        return six()
    if sign == "7":
        return [line((0.0, 1.0), (1.0, 1.0), (0.36, 0.0))]
    if sign == "8":
        return [_bowl(w / 2, 0.76, w * 0.44, 0.24, 0, 360, n),
                _bowl(w / 2, 0.26, w / 2, 0.26, 0, 360, n)]
    if sign == "9":
        return [np.array([w, 1.0]) - s for s in six()]
    if sign == ".":
        return [line((0.45, 0.01), (0.5, 0.01))]
    if sign == "-":
        return [line((0.15, 0.5), (0.85, 0.5))]
    if sign == "m":
        return [line((0.0, 0.0), (0.0, 0.66)), _bowl(w * 0.25, 0.42, w * 0.25, 0.24, 180, 0, n),
                line((0.5, 0.42), (0.5, 0.0)), _bowl(w * 0.75, 0.42, w * 0.25, 0.24, 180, 0, n),
                line((1.0, 0.42), (1.0, 0.0))]
    if sign == "L":
        return [line((0.1, 1.0), (0.1, 0.0), (0.9, 0.0))]
    raise ValueError(f"no strokes for the sign {sign!r}")


@lru_cache(maxsize=16)
def distance_field(hand: Lettering, signs: str = SIGNS) -> np.ndarray:
    """Distance to the middle of the nearest stroke for each of ``signs``.

    A (signs, ROWS, COLS) float32 array over a cell ``advance`` wide (figure
    centred in it) and 1.4 figure heights tall (0.2 of margin above and below);
    unit: figure heights.
    """
    ys = (np.arange(ROWS) + 0.5) / ROWS * 1.4 - 0.2
    xs = (np.arange(COLS) + 0.5) / COLS * hand.advance - hand.gap / 2
    gx, gy = np.meshgrid(xs, ys)
    gx = gx - hand.slant * (gy - 0.5)
    px, py = (g.ravel()[:, None].astype(np.float32) for g in (gx, gy))
    fields = []
    for sign in signs:
        best = np.full(px.size, 9.0, np.float32)
        for path in strokes(sign, hand):
            (ax, ay), (dx, dy) = path[:-1].astype(np.float32).T, np.diff(path, axis=0).astype(
                np.float32).T
            length2 = np.maximum(dx**2 + dy**2, 1e-12)
            rx, ry = px - ax, py - ay
            t = np.clip((rx * dx + ry * dy) / length2, 0, 1)
            gap2 = (rx - t * dx) ** 2 + (ry - t * dy) ** 2
            best = np.minimum(best, np.sqrt(gap2.min(1)))
        fields.append(best.reshape(ROWS, COLS))
    return np.stack(fields).astype(np.float32)

"""A straight row of marks as the picture shows it: heights in, places along the row out.

Along a straight line in space the picture is a one-dimensional projective map,
t = (a z + b) / (1 + c z) from height z to place t.
"""

from __future__ import annotations

import numpy as np

#: How much a view of a row is bent at the most, over half its length; and how little of the scale
#: is left at its far end: a map through infinity between its points is no view of a row.
_MOST_BENT, _LEAST_BEND = 0.8, 1e-3


def project_1d(abc: np.ndarray, z: np.ndarray) -> np.ndarray:
    """t = (a z + b) / (1 + c z)."""
    return (abc[0] * z + abc[1]) / (1.0 + abc[2] * z)


def slope_1d(abc: np.ndarray, z: np.ndarray) -> np.ndarray:
    """dt/dz of the projective map, px per mm."""
    return (abc[0] - abc[1] * abc[2]) / (1.0 + abc[2] * z) ** 2


def fit_1d(z: np.ndarray, t: np.ndarray, *, rounds: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Robust fit of the projective map; returns (abc, residuals in px).

    z and t are centred and scaled first: the linear form is badly conditioned
    otherwise.  Weights of Cauchy's kind, from the median residual.
    """
    n = len(z)
    z0, zs = _middle_and_half(z)
    t0, ts = _middle_and_half(t)
    u, v = (z - z0) / zs, (t - t0) / ts
    design = np.empty((4, n))
    design[0], design[1], design[2], design[3] = u, 1.0, -u * v, v
    weighted, c = design[:3].copy(), 0.0
    least = max(-_MOST_BENT, (_LEAST_BEND - 1.0) / max(float(np.maximum.reduce(u)), 1e-9))
    most = min(_MOST_BENT, (_LEAST_BEND - 1.0) / min(float(np.minimum.reduce(u)), -1e-9))
    for turn in range(rounds):
        a, b, c = _solved((weighted @ design.T).tolist())
        c = min(max(c, least), most)
        if turn + 1 < rounds:
            bend = 1.0 + c * u
            r = np.abs(v - (a * u + b) / bend)
            middle = r.copy()
            middle.partition(n // 2)
            s = max(3.7 * float(middle[n // 2]), 2.5e-4)
            w = 1.0 / (1.0 + (r / s) ** 2)
            weighted = design[:3] * (w / (bend * bend))
    # back to z and t: t = t0 + ts (a u + b)/(1 + c u), u = (z - z0)/zs
    den0 = 1.0 - c * z0 / zs
    out = np.array([(t0 * c / zs + ts * a / zs) / den0,
                    (t0 * den0 + ts * (b - a * z0 / zs)) / den0, (c / zs) / den0])
    return out, t - project_1d(out, z)


def _middle_and_half(x: np.ndarray) -> tuple[float, float]:
    """Mean and half the range of some numbers."""
    least, most = float(np.minimum.reduce(x)), float(np.maximum.reduce(x))
    return float(np.add.reduce(x)) / len(x), max((most - least) / 2, 1e-9)


def _solved(m: list[list[float]]) -> tuple[float, float, float]:
    """The three unknowns of normal equations, each with its right side: plain numbers are
    several times as fast here as a library's matrices."""
    (p, q, r, x), (_, s, t, y), (_, _, w, z) = m
    p, s = p + 1e-12, s + 1e-12
    # A short row can not tell perspective from noise: pull the third gently to zero.
    w += 4e-4
    f, g = q / p, r / p
    s, t, y, w, z = s - f * q, t - f * r, y - f * x, w - g * r, z - g * x
    h = t / s
    c = (z - h * y) / (w - h * t)
    b = (y - t * c) / s
    return (x - q * b - r * c) / p, b, c

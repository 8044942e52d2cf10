"""A straight row of marks as the picture shows it: heights in, places along the row out.

Along a straight line in space the picture is a one-dimensional projective map,
t = (a z + b) / (1 + c z) from height z to place t.
"""

from __future__ import annotations

from typing import Any

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


def _solved(m: Any) -> tuple[Any, Any, Any]:
    """The three unknowns of normal equations (3, 4), each with its right side, of plain numbers or
    of arrays (P,): several times as fast here as a library's matrices."""
    (p, q, r, x), (_, s, t, y), (_, _, w, z) = m
    p, s = p + 1e-12, s + 1e-12
    # A short row can not tell perspective from noise: pull the third gently to zero.
    w = w + 4e-4
    f, g = q / p, r / p
    s, t, y, w, z = s - f * q, t - f * r, y - f * x, w - g * r, z - g * x
    h = t / s
    c = (z - h * y) / (w - h * t)
    b = (y - t * c) / s
    return (x - q * b - r * c) / p, b, c


def project_rows(abc: np.ndarray, z: np.ndarray) -> np.ndarray:
    """:func:`project_1d` of several maps (P, 3), each at places (P, N) of its own."""
    a, b, c = (abc[:, k, None] for k in range(3))
    return np.asarray((a * z + b) / (1.0 + c * z))


def slope_rows(abc: np.ndarray, z: np.ndarray) -> np.ndarray:
    """:func:`slope_1d` of several maps (P, 3), each at places (P, N) of its own."""
    a, b, c = (abc[:, k, None] for k in range(3))
    return np.asarray((a - b * c) / (1.0 + c * z) ** 2)


def fit_rows(z: np.ndarray, t: np.ndarray, there: np.ndarray, *, rounds: int = 3) -> np.ndarray:
    """(P, 3) maps: :func:`fit_1d` of several rows at once, each to those of its places (P, N)
    that are ``there``; a row has one at least."""
    n = there.sum(axis=1)
    z0, zs = _middles_and_halves(z, there, n)
    t0, ts = _middles_and_halves(t, there, n)
    u, v = np.where(there, (z - z0) / zs, 0.0), np.where(there, (t - t0) / ts, 0.0)
    design = np.stack([u, there.astype(float), -u * v, v], axis=1)
    weighted, at = design[:, :3], (np.arange(len(z)), n // 2)
    least = np.maximum(-_MOST_BENT, (_LEAST_BEND - 1.0) / np.maximum(u.max(axis=1), 1e-9))
    most = np.minimum(_MOST_BENT, (_LEAST_BEND - 1.0) / np.minimum(u.min(axis=1), -1e-9))
    for turn in range(rounds):
        normal = weighted @ design.transpose(0, 2, 1)
        a, b, c = (x[:, None] for x in _solved(normal.transpose(1, 2, 0)))
        c = np.clip(c, least[:, None], most[:, None])
        if turn + 1 < rounds:
            bend = 1.0 + c * u
            r = np.abs(v - (a * u + b) / bend)
            s = np.maximum(3.7 * np.sort(np.where(there, r, np.inf), axis=1)[at], 2.5e-4)[:, None]
            weighted = design[:, :3] * (1.0 / ((1.0 + (r / s) ** 2) * bend * bend))[:, None]
    den0 = 1.0 - c * z0 / zs
    return np.concatenate([(t0 * c / zs + ts * a / zs) / den0,
                           (t0 * den0 + ts * (b - a * z0 / zs)) / den0, (c / zs) / den0], axis=1)


def _middles_and_halves(x: np.ndarray, there: np.ndarray, n: np.ndarray
                        ) -> tuple[np.ndarray, np.ndarray]:
    """(P, 1) mean and half the range of the numbers (P, N) that are ``there``."""
    least = np.where(there, x, np.inf).min(axis=1)
    most = np.where(there, x, -np.inf).max(axis=1)
    mean = np.where(there, x, 0.0).sum(axis=1) / n
    return mean[:, None], np.maximum((most - least) / 2, 1e-9)[:, None]

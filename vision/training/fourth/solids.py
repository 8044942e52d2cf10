"""Surfaces as triangles in the chamber's frame (mm): round bodies, bulges, boxes, sheets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Vector = Sequence[float] | np.ndarray
#: Facets round the axis.
ROUND = 192
_ANGLES = np.linspace(-math.pi, math.pi, ROUND + 1)


@dataclass(frozen=True)
class Solid:
    """``points``, ``normals`` (N, 3), ``uv`` (N, 2); ``triangles`` (M, 3) counter-clockwise
    as seen from outside."""

    points: np.ndarray
    normals: np.ndarray
    uv: np.ndarray
    triangles: np.ndarray

    def moved(self, turn: np.ndarray, by: Vector = (0, 0, 0)) -> Solid:
        """Turned about the origin by a (3, 3) rotation, then moved (mm)."""
        return Solid(self.points @ turn.T + np.array(by), self.normals @ turn.T, self.uv,
                     self.triangles)


def together(parts: Sequence[Solid]) -> Solid:
    """Several as one; they share no points."""
    first = np.cumsum([0] + [len(p.points) for p in parts[:-1]])
    points, normals, uv = (np.concatenate([getattr(p, k) for p in parts])
                           for k in ("points", "normals", "uv"))
    return Solid(points, normals, uv, np.concatenate(
        [p.triangles + f for p, f in zip(parts, first, strict=True)]))


def around(radii: np.ndarray, heights: np.ndarray, turn_deg: float = 0.0) -> Solid:
    """A surface round the axis from a line of radii and heights, each (K,) or (K, ROUND + 1).

    Outside is to the right of the line's way with radii to the right and heights up.  Angles
    count from the viewer's side to the right; ``uv`` runs 0 to 1 round and along the line.
    """
    shape = (len(radii), ROUND + 1)
    r = np.broadcast_to(np.asarray(radii, float).reshape(len(radii), -1), shape)
    y = np.broadcast_to(np.asarray(heights, float).reshape(len(radii), -1), shape)
    a = _ANGLES + math.radians(turn_deg)
    return woven(np.stack([r * np.sin(a), y, r * np.cos(a)], -1), closed=True)


def woven(points: np.ndarray, closed: bool = False) -> Solid:
    """A sheet from (K, L, 3) points; outside is where columns run to the right as rows run up.
    With ``closed`` the last column lies on the first."""
    k, m = points.shape[:2]
    n = np.arange(k * m).reshape(k, m)
    a, b, c, d = (x.ravel() for x in (n[:-1, :-1], n[:-1, 1:], n[1:, 1:], n[1:, :-1]))
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    along = np.gradient(points, axis=0)
    if closed:
        wide = np.concatenate([points[:, -2:-1], points, points[:, 1:2]], axis=1)
        across = wide[:, 2:] - wide[:, :-2]
    else:
        across = np.gradient(points, axis=1)
    normals = np.cross(across, along)
    normals /= np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-15)
    u, v = np.meshgrid(np.linspace(0, 1, m), np.linspace(0, 1, k))
    return Solid(points.reshape(-1, 3), normals.reshape(-1, 3),
                 np.stack([u, v], -1).reshape(-1, 2), triangles)


def sheet(corner: Vector, right: Vector, up: Vector) -> Solid:
    """A flat parallelogram; ``uv`` is upright from its corner."""
    c, r, t = (np.array(v, float) for v in (corner, right, up))
    return woven(np.array([[c, c + r], [c + t, c + r + t]]))


def block(low: Vector, high: Vector) -> Solid:
    """A box between two corners."""
    a, b = np.array(low, float), np.array(high, float)
    (x, y, z), (w, h, d) = a, b - a
    return together([
        sheet((x, y, z + d), (w, 0, 0), (0, h, 0)), sheet((x + w, y, z), (-w, 0, 0), (0, h, 0)),
        sheet((x, y, z), (0, 0, d), (0, h, 0)), sheet((x + w, y, z + d), (0, 0, -d), (0, h, 0)),
        sheet((x, y + h, z + d), (w, 0, 0), (0, 0, -d)), sheet((x, y, z), (w, 0, 0), (0, 0, d))])


def rod(start: Vector, end: Vector, radius: float) -> Solid:
    """An open round rod between two points."""
    s, e = np.array(start, float), np.array(end, float)
    way = (e - s) / np.linalg.norm(e - s)
    side = np.cross(way, [0.31, 0.52, 0.79])
    side /= np.linalg.norm(side)
    other = np.cross(side, way)
    a = np.linspace(0, 2 * math.pi, 33)
    ring = radius * (np.cos(a)[:, None] * side + np.sin(a)[:, None] * other)
    return woven(np.stack([s + ring, e + ring]), closed=True)


def _outward(points: np.ndarray, triangles: np.ndarray, normals: np.ndarray, uv: np.ndarray
             ) -> Solid:
    """A convex body: its triangles wound so that they look away from its middle."""
    p = points[triangles]
    out = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    inward = (out * (p.mean(1) - points.mean(0))).sum(1) < 0
    wound = np.where(inward[:, None], triangles[:, ::-1], triangles)
    return Solid(points, normals, uv, wound)


def ball(centre: Vector, radius: float) -> Solid:
    """A sphere."""
    t, a = np.linspace(1e-3, math.pi - 1e-3, 15), np.linspace(0, 2 * math.pi, 25)
    out = np.stack([np.outer(np.sin(t), np.cos(a)), np.outer(np.cos(t), np.ones(25)),
                    np.outer(np.sin(t), np.sin(a))], -1)
    made = woven(out, closed=True)
    return _outward(made.points * radius + np.array(centre), made.triangles, made.points, made.uv)


def wall_drop(angle: float, height: float, half: tuple[float, float], bulge: float, bore: float,
              into_wall: float) -> Solid:
    """A drop on the inner wall, fuller below; its back lies inside the wall."""
    rho, way = np.linspace(1e-3, 1, 9), np.linspace(0, 2 * math.pi, 25)
    s = half[0] * np.outer(rho, np.cos(way)) * (1 - 0.25 * np.sin(way))
    t = half[1] * np.outer(rho, np.sin(way))
    inner = bore - bulge * (1 - rho[:, None]**2) + 0 * s
    rows = [(s, t, inner), (s[::-1], t[::-1], np.full_like(s, bore + into_wall))]
    s, t, r = (np.concatenate(part) for part in zip(*rows, strict=True))
    a = angle + s / bore
    points = np.stack([r * np.sin(a), height + t, r * np.cos(a)], -1)
    made = woven(points, closed=True)
    wound = _outward(made.points, made.triangles, made.normals, made.uv)
    # normals of the cap look to the axis; those inside the wall are never seen
    to_axis = np.stack([-np.sin(a), 0 * a, -np.cos(a)], -1).reshape(-1, 3)
    same = (made.normals * to_axis).sum(1, keepdims=True)
    return Solid(wound.points, np.where(same < 0, -made.normals, made.normals), wound.uv,
                 wound.triangles)

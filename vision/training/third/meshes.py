"""Surfaces as grids of quads in millimetres: walls, liquid, water on the wall.

Where two media meet there is exactly one surface, and it carries the index of the medium behind
it over that in front of it (in front: where its normals point), so that light always passes from
the one straight into the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np

from vision.training.third.draws import ThirdScene, bore_at, outside_at
from vision.training.third.truth import profile_of

AROUND = 288


@dataclass(frozen=True)
class Mesh:
    """``points`` and ``normals`` (N, 3), ``quads`` (M, 4) counter-clockwise as seen from in front,
    ``index`` (M,) of refraction, behind over in front; ``uv`` (N, 2) and ``stain`` (N,)."""

    points: np.ndarray
    normals: np.ndarray
    quads: np.ndarray
    index: np.ndarray
    uv: np.ndarray
    stain: np.ndarray


def joined(meshes: list[Mesh]) -> Mesh:
    """Several surfaces as one; they share no points."""
    starts = np.cumsum([0] + [len(m.points) for m in meshes[:-1]])
    moved = [replace(m, quads=m.quads + s) for m, s in zip(meshes, starts, strict=True)]
    return Mesh(**{f.name: np.concatenate([getattr(m, f.name) for m in moved])
                   for f in fields(Mesh)})


def grid(points: np.ndarray, index: float | np.ndarray, *, flip: bool = False,
         keep: np.ndarray | None = None, stain: np.ndarray | None = None) -> Mesh:
    """A surface round the axis from (rows, AROUND + 1, 3) points, the last column on the first.

    With rows going up, normals point away from the axis, towards it with ``flip``; ``keep``
    (rows - 1, AROUND) leaves quads out.
    """
    rows, columns = points.shape[:2]
    k = np.arange(rows * columns).reshape(rows, columns)
    quads = np.stack([k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]], -1)
    along = np.gradient(points, axis=0)
    round_ = np.concatenate([points[:, 1:2] - points[:, -2:-1], points[:, 2:] - points[:, :-2],
                             points[:, 1:2] - points[:, -2:-1]], axis=1)
    normals = np.cross(round_, along)
    normals /= np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-12)
    if flip:
        quads, normals = quads[..., ::-1], -normals
    share = np.broadcast_to(np.asarray(index, float), (rows - 1, columns - 1))
    kept = np.ones((rows - 1, columns - 1), bool) if keep is None else keep
    u, v = np.meshgrid(np.linspace(0, 1, columns), np.linspace(0, 1, rows))
    return Mesh(points.reshape(-1, 3), normals.reshape(-1, 3), quads[kept], share[kept],
                np.stack([u, v], -1).reshape(-1, 2),
                np.zeros(rows * columns) if stain is None else stain.reshape(-1))


def ring(radius: np.ndarray, height: np.ndarray, turn_deg: float = 0.0) -> np.ndarray:
    """(rows, AROUND + 1, 3) points; column 0 lies at the back of the chamber's print, so that
    texture columns run from the back over the left, the front and the right to the back."""
    a = np.linspace(-math.pi, math.pi, AROUND + 1) + math.radians(turn_deg)
    r = np.broadcast_to(np.asarray(radius, float).reshape(len(radius), -1), (len(radius), a.size))
    z = np.broadcast_to(np.asarray(height, float).reshape(len(height), -1), r.shape)
    return np.stack([r * np.sin(a), -r * np.cos(a), z], -1)


def outer_wall(scene: ThirdScene) -> Mesh:
    """Air in front, wall behind; ``uv`` for the print."""
    z = np.linspace(scene.floor_mm - 2, scene.lid_mm + 2, 400)
    return grid(ring(outside_at(scene.scale, z), z, scene.turn_deg), scene.wall_index)


def _heights_of_rim(scene: ThirdScene, rise: float, radius: float) -> np.ndarray:
    a = np.linspace(-math.pi, math.pi, AROUND + 1) + math.radians(scene.turn_deg)
    tilt = scene.slope[0] * np.sin(a) - scene.slope[1] * np.cos(a)
    return np.asarray((scene.level_mm or 0.0) + rise + radius * tilt)


def liquid(scene: ThirdScene) -> Mesh:
    """The liquid's whole boundary, normals outward: its surface (air in front), the wetted wall
    and the floor (wall in front)."""
    r, z, _ = profile_of(scene)
    assert scene.level_mm is not None
    r = np.maximum(r, 1e-4)
    top = ring(r, z + scene.level_mm, scene.turn_deg)
    top[..., 2] += scene.slope[0] * top[..., 0] + scene.slope[1] * top[..., 1]
    # the bore may widen along a leaning contact line: the last ring lies on the wall
    top[-1, :, :2] *= (bore_at(scene.scale, top[-1, :, 2]) / r[-1])[:, None]
    surface = grid(top[::-1], scene.liquid_index)  # rows inward: normals upward
    s = 1 - (1 - np.linspace(0, 1, 160)[:, None]) ** 1.5
    heights = scene.floor_mm + s * (top[-1, :, 2][None] - scene.floor_mm)
    in_wall = scene.liquid_index / scene.wall_index
    side = grid(ring(bore_at(scene.scale, heights), heights, scene.turn_deg), in_wall)
    radii = np.linspace(1e-4, float(bore_at(scene.scale, scene.floor_mm)), 8)
    floor = grid(ring(radii, np.full(8, scene.floor_mm), scene.turn_deg), in_wall)
    return joined([surface, side, floor])


def dry_wall_and_water(scene: ThirdScene) -> tuple[Mesh, Mesh | None]:
    """The inner wall over the liquid, with the index of what touches it, and the skin (air in
    front) of the water that hangs on it."""
    if scene.level_mm is None:
        start = np.full(AROUND + 1, scene.floor_mm)
    else:
        r, z, _ = profile_of(scene)
        start = _heights_of_rim(scene, float(z[-1]), float(r[-1]))
    count = max(int((scene.lid_mm - start.min()) / 0.22), 40)
    s = np.linspace(0, 1, count)[:, None]
    heights = start[None] + s * (scene.lid_mm + 2 - start[None])
    bore = bore_at(scene.scale, heights)
    thick = water_mm(scene, heights, start, bore)
    wet = np.maximum.reduce([thick[:-1, :-1], thick[1:, :-1], thick[:-1, 1:], thick[1:, 1:]]) > 4e-3
    index = np.where(wet, scene.wall_index / scene.liquid_index, scene.wall_index)
    wall = grid(ring(bore, heights, scene.turn_deg), index, flip=True,
                stain=stained(scene, heights))
    if not wet.any():
        return wall, None
    skin = ring(bore - np.maximum(thick, 2e-3), heights, scene.turn_deg)
    return wall, grid(skin, scene.liquid_index, flip=True, keep=wet)


def water_mm(scene: ThirdScene, heights: np.ndarray, start: np.ndarray, bore: np.ndarray
             ) -> np.ndarray:
    """Thickness of the water on the inner wall."""
    rng = np.random.default_rng(scene.seed + 2)
    a = np.linspace(-math.pi, math.pi, AROUND + 1)[None]
    thick = np.zeros_like(heights)
    for angle, z, radius, bulge in scene.wet.drops:
        away = np.angle(np.exp(1j * (a - angle))) * bore
        hang = np.where(heights < z, 0.75, 1.25)  # fuller below than above
        thick = np.maximum(thick, bulge * np.sqrt(np.clip(
            1 - (away**2 + ((heights - z) * hang) ** 2) / radius**2, 0, None)))
    if scene.wet.film_top_mm is not None:
        waves = sum(rng.normal() * np.sin(k * a + rng.uniform(0, 7)) / k for k in range(1, 7))
        top = scene.wet.film_top_mm + 1.2 * waves
        inside = np.clip((top - heights) / 0.5, 0, 1) * (heights > start + 0.3)
        edge = 0.09 * np.exp(-(((heights - top + 0.6) / 0.45) ** 2))
        thick = np.maximum(thick, inside * (0.03 + edge))
    thick[:, -1] = thick[:, 0]
    return thick


def stained(scene: ThirdScene, heights: np.ndarray) -> np.ndarray:
    """Cover of an earlier level's stain, 0 to 1."""
    if scene.wet.stain_mm is None:
        return np.zeros_like(heights)
    rng = np.random.default_rng(scene.seed + 3)
    a = np.linspace(-math.pi, math.pi, AROUND + 1)[None]
    patches = 0.7 + 0.3 * sum(np.sin(k * a + rng.uniform(0, 7)) / k for k in (1, 3, 5, 9))
    line = np.exp(-(((heights - scene.wet.stain_mm) / 0.35) ** 2))
    below = 0.2 * np.exp((heights - scene.wet.stain_mm) / 3) * (heights < scene.wet.stain_mm)
    return np.clip(scene.wet.stain * (line + below) * np.clip(patches, 0.1, 1.2), 0, 0.8)

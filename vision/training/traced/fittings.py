"""What is on a traced tube: marks, numerals, a label, an earlier level's trace, lid, collar."""

from __future__ import annotations

import math
from typing import Any

import mitsuba as mi
import numpy as np

from vision.training.traced.bore import outer_knots
from vision.training.traced.draws import TracedScene
from vision.training.traced.printed import opacity_map
from vision.training.traced.shapes import revolved
from vision.training.traced.tube import band, mesh_of

#: Print and labels lie so far before the wall, mm.
_BEFORE_MM = 0.02


def _matt(rgb: Any, alpha: float | None = None) -> dict[str, Any]:
    skin: dict[str, Any] = {"type": "diffuse", "reflectance": {
        "type": "rgb", "value": [float(c) for c in rgb]}}
    if alpha is not None:
        skin = {"type": "roughplastic", "alpha": alpha, "diffuse_reflectance": skin["reflectance"]}
    return {"type": "twosided", "bsdf": skin}


def picture(data: np.ndarray) -> dict[str, Any]:
    """A texture from (H, W, C) numbers, the first row on top."""
    return {"type": "bitmap", "raw": True, "wrap_mode": "clamp",
            "bitmap": mi.Bitmap(np.ascontiguousarray(data, np.float32))}


def _ink(rgb: Any, opacity: np.ndarray) -> dict[str, Any]:
    return {"type": "mask", "opacity": picture(opacity[..., None]), "bsdf": _matt(rgb)}


def printed(scene: TracedScene) -> list[Any]:
    """Marks and numerals, a label, what an earlier level left on the inner wall."""
    knots = outer_knots(scene)
    outer = lambda z: np.interp(z, knots[:, 1], knots[:, 0])  # noqa: E731
    rng = np.random.default_rng(scene.seed)
    low, high = scene.scale.lowest_mark.height_mm - 4, scene.scale.highest_mark.height_mm + 4
    shape, uv = band(lambda z: outer(z) + _BEFORE_MM, low, high, scene.ink.reach_deg, 160)
    out = [mesh_of(shape, _ink(scene.ink.rgb, opacity_map(
        scene.scale, scene.ink, scene.scale.outer_radius_mm, low, high, scene.seed)), uv)]
    if scene.ring_mm is not None:
        inner = scene.scale.inner_radius_mm(float(scene.scale.value_at(scene.ring_mm)))
        shape, uv = band(lambda z: inner - 0.05 + 0 * z, scene.ring_mm - 0.6, scene.ring_mm + 0.6,
                         180.0, 3)
        v = np.linspace(-1, 1, 24)[:, None]
        faint = np.exp(-(v / 0.4) ** 2) * rng.uniform(0.05, 0.35) * rng.uniform(0.3, 1, (1, 64))
        out.append(mesh_of(shape, _ink((0.55, 0.35, 0.3), faint), uv))
    if scene.sticker:
        at = rng.uniform(low, high)
        shape, uv = band(lambda z: outer(z) + 0.1, at, at + rng.uniform(8, 20), 28.0)
        turn = math.radians(rng.choice([-1, 1]) * rng.uniform(70, 150))
        c, s = math.cos(turn), math.sin(turn)
        spin = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
        shape = type(shape)(shape.vertices @ spin.T, shape.faces, shape.normals @ spin.T)
        out.append(mesh_of(shape, _matt(rng.uniform(0.4, 0.9, 3))))
    return out


def caps(scene: TracedScene) -> list[Any]:
    """Lid above and collar below, opaque."""
    rng = np.random.default_rng(scene.seed + 1)
    out = []
    for at, way in ((scene.lid_mm, 1), (scene.floor_mm - 0.5, -1)):
        wide = float(np.interp(at, *outer_knots(scene).T[::-1])) + rng.uniform(0.3, 3)
        tall = way * rng.uniform(8, 16)
        skin = _matt(rng.uniform(0.1, 0.8) * rng.uniform(0.75, 1.15, 3), 0.15)
        out.append(mesh_of(revolved(np.array([
            (0.01, at), (wide, at), (wide, at + tall), (3.0, at + tall),
            (2.5, at + tall + 60 * way)])), skin))
    return out

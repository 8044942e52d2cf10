"""The tube of a traced chamber and what is in it, as Mitsuba's meshes.

A dielectric's inside lies behind its normals: plastic behind the dry inner wall, whose normals
point to the axis; liquid behind the wetted wall and the surface.
"""

from __future__ import annotations

from typing import Any

import mitsuba as mi
import numpy as np

from vision.training.traced.bore import bore_knots, outer_knots, profile_of
from vision.training.traced.draws import TracedScene
from vision.training.traced.shapes import (
    AROUND,
    Shape,
    bumpy_wall,
    faces_of,
    joined,
    liquid_surface,
    revolved,
    surface_height,
)

_AIR = 1.000277


def mesh_of(shape: Shape, bsdf: dict[str, Any], uv: np.ndarray | None = None) -> Any:
    """A shape with a surface of its own."""
    props = mi.Properties()
    props["bsdf"] = mi.load_dict(bsdf)
    mesh = mi.Mesh("m", len(shape.vertices), len(shape.faces), has_vertex_normals=True,
                   has_vertex_texcoords=uv is not None, props=props)
    p = mi.traverse(mesh)
    p["vertex_positions"] = shape.vertices.astype(np.float32).ravel()
    p["vertex_normals"] = shape.normals.astype(np.float32).ravel()
    p["faces"] = shape.faces.astype(np.uint32).ravel()
    if uv is not None:
        p["vertex_texcoords"] = uv.astype(np.float32).ravel()
    p.update()
    return mesh


def _glass(inner: float, outer: float) -> dict[str, Any]:
    return {"type": "dielectric", "int_ior": inner, "ext_ior": outer}


def walls_of(scene: TracedScene) -> tuple[list[Any], list[Any]]:
    """(all meshes of the tube and its liquid, those that bound the liquid)."""
    knots, n, m = bore_knots(scene), scene.wall_index, scene.liquid_index
    radius = lambda z: np.interp(z, knots[:, 1], knots[:, 0])  # noqa: E731
    walls = [mesh_of(revolved(outer_knots(scene)), _glass(n, _AIR))]

    def bulge(phi: np.ndarray, z: np.ndarray) -> np.ndarray:
        out = np.zeros_like(z)
        for d in scene.drops:
            apart = np.abs((phi - d.azimuth + np.pi) % (2 * np.pi) - np.pi) * radius(z)
            sag = np.where(z < d.height_mm, 1.25, 0.9)  # drops hang
            q = (apart**2 + ((z - d.height_mm) / sag) ** 2) / d.radius_mm**2
            out = np.maximum(out, d.bulge_mm * np.clip(1 - q, 0, None) ** 0.7)
        if scene.film_mm is not None:  # its swollen edge
            top = scene.film_mm + 0.8 * np.sin(2 * phi) + 0.4 * np.sin(5 * phi + 1)
            out = out + 0.12 * np.exp(-(((z - top) / 0.5) ** 2))
        return out

    dry = _glass(n, _AIR) if not scene.fog else _glass(n, _AIR) | {
        "type": "roughdielectric", "alpha": scene.fog}
    phi = np.linspace(-np.pi, np.pi, AROUND + 1)
    if scene.level_mm is None:
        dry_from = np.full(AROUND + 1, scene.floor_mm)
        walls.append(mesh_of(revolved(knots[:2], outward=False), _glass(n, _AIR)))
        walls.append(mesh_of(bumpy_wall(radius, dry_from, scene.lid_mm + 2, bulge), dry))
        return walls, []
    profile = profile_of(scene)
    r = profile[0][-1]
    line = surface_height(r * np.sin(phi), -r * np.cos(phi), scene.level_mm, scene.lean, profile)
    top = scene.level_mm - 3.0 if scene.level_mm - 3.0 > scene.floor_mm else None
    wetted = knots[knots[:, 1] < (top or scene.floor_mm + 1e-6)]
    wetted = np.vstack([wetted, [float(radius(top)), top]]) if top else wetted
    foot = np.full(AROUND + 1, top or scene.floor_mm)
    ramp = bumpy_wall(radius, foot, 0.0, lambda p, z: 0 * z, 2)
    v = ramp.vertices.reshape(2, AROUND + 1, 3).copy()
    v[1] = np.stack([r * np.sin(phi), -r * np.cos(phi), line], -1)
    out = np.tile(np.stack([np.sin(phi), -np.cos(phi), 0 * phi], -1), (2, 1))
    wall = joined([revolved(wetted), Shape(v.reshape(-1, 3), ramp.faces, out)])
    wet = [mesh_of(wall, _glass(m, n)),
           mesh_of(liquid_surface(scene.level_mm, scene.lean, profile), _glass(m, _AIR))]
    walls.append(mesh_of(bumpy_wall(radius, line, scene.lid_mm + 2, bulge), dry))
    return walls + wet + foam_of(scene, profile), wet


def foam_of(scene: TracedScene, profile: tuple[np.ndarray, np.ndarray]) -> list[Any]:
    """Bubbles that float on the surface: shells of liquid so thin that they bend no light."""
    assert scene.level_mm is not None
    skin, out = mi.load_dict({"type": "thindielectric", "int_ior": scene.liquid_index}), []
    for b in scene.foam:
        x, y = b.aside_mm * np.sin(b.azimuth), -b.aside_mm * np.cos(b.azimuth)
        z = surface_height(x, y, scene.level_mm, scene.lean, profile) + 0.3 * b.radius_mm
        out.append(mi.load_dict({"type": "sphere", "center": [float(x), float(y), float(z)],
                                 "radius": b.radius_mm, "bsdf": skin}))
    return out


def band(radius: Any, low: float, high: float, reach_deg: float, rows: int = 40) -> tuple[
        Shape, np.ndarray]:
    """A strip round the front of a wall and the places on its picture (u right, v down)."""
    phi = np.radians(np.linspace(-reach_deg, reach_deg, 129))[None]
    z = np.linspace(low, high, rows)[:, None] + 0 * phi
    p = phi + 0 * z
    r = radius(z)
    out = np.stack([np.sin(p), -np.cos(p), 0 * p], -1)
    uv = np.stack([(p / np.radians(reach_deg) + 1) / 2, (high - z) / (high - low)], -1)
    v = np.stack([r * np.sin(p), -r * np.cos(p), z], -1)
    return Shape(v.reshape(-1, 3), faces_of(*z.shape), out.reshape(-1, 3)), uv.reshape(-1, 2)

"""The inside and outside of a traced tube along its axis, and the surface of its liquid."""

from __future__ import annotations

import numpy as np

from vision.training.traced.draws import TracedScene
from vision.training.traced.shapes import meniscus


def profile_of(scene: TracedScene) -> tuple[np.ndarray, np.ndarray]:
    """Radius and rise of the scene's liquid surface, in the bore at its level."""
    assert scene.level_mm is not None
    radius = scene.scale.inner_radius_mm(float(scene.scale.value_at(scene.level_mm + 1.0)))
    return meniscus(scene.contact_deg, radius, scene.capillary_mm)


def bore_knots(scene: TracedScene) -> np.ndarray:
    """(N, 2) radius and height of the inner wall, from the outlet up to the lid."""
    s = scene.scale
    knots = sorted((float(s.height_mm(v)), d / 2) for v, d in s.diameter_knots)
    knots = [(z, r) for z, r in knots if scene.floor_mm + 0.5 < z < scene.lid_mm - 1]
    r0 = s.inner_radius_mm(float(s.value_at(scene.floor_mm)))
    r1 = s.inner_radius_mm(float(s.value_at(scene.lid_mm)))
    cone = scene.floor_mm - 0.4 * r0
    return np.array([(0.02, cone), (r0, scene.floor_mm), *((r, z) for z, r in knots),
                     (r1, scene.lid_mm + 2)])


def outer_knots(scene: TracedScene) -> np.ndarray:
    """(N, 2) radius and height of the outer wall, from under the collar up to the lid."""
    s, low, high = scene.scale, scene.floor_mm - 12.0, scene.lid_mm + 2
    if s.outline is None:
        return np.array([(0.02, low), (s.outer_radius_mm, low + 0.01), (s.outer_radius_mm, high)])
    z = [low + 0.01, *(h for h in s.outline.height_mm if low + 1 < h < high), high]
    return np.array([(0.02, low), *((float(s.outline.at(h)), h) for h in z)])

"""What is true of a scene, in the words of the label file."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.synthetic.chamber.bore import scene_meniscus
from vision.synthetic.chamber.camera import view_of
from vision.synthetic.chamber.model import ChamberScene


def facing_point(scene: ChamberScene, height_mm: float) -> np.ndarray:
    """The point of the outer wall at a height that faces the camera (chamber's frame)."""
    az = math.radians(scene.camera.azimuth_deg)
    r = scene.scale.outer_radius_mm
    return np.array([-r * math.sin(az), -r * math.cos(az), height_mm])


def scene_truth(scene: ChamberScene, size: tuple[int, int] | None = None) -> dict[str, Any]:
    """Label-file keys of a scene's photo.

    ``surface_px`` is where the axis point at the true level projects to,
    ``lowest_mark_px`` and ``highest_mark_px`` where the wall at these marks'
    heights faces the camera; (x, y) pixels from the centre of the top-left
    pixel, refraction ignored.  Where the scale is read at the highest point of
    the surface, the true value is the contact line's.
    """
    scale, view = scene.scale, view_of(scene, size)
    level = scene.level_mm
    rim = float(scale.value_at(level + scene_meniscus(scene).rim_mm))
    points = view.project(np.stack([
        np.array([0.0, 0.0, level]), facing_point(scene, scale.lowest_mark.height_mm),
        facing_point(scene, scale.highest_mark.height_mm)]))
    surface, lowest, highest = ([round(float(v), 1) for v in p] for p in points)
    value = rim if scale.reading_point == "highest" else scene.true_value
    cam = scene.camera
    return {
        "true_value": round(float(value), 4),
        "rim_value": round(rim, 4),
        "expect": scene.expect,
        "tier": scene.tier,
        "division": float(scale.division_at(scene.true_value)),
        "elevation_deg": round(cam.elevation_deg, 3),
        "azimuth_deg": round(cam.azimuth_deg, 2),
        "distance_mm": round(cam.distance_mm, 2),
        "roll_deg": round(cam.roll_deg, 3),
        "lean_deg": round(math.hypot(*scene.lean_deg), 3),
        "fluid": scene.fluid.name,
        "light": scene.room.light_name,
        "contact_angle_deg": round(scene.contact_angle_deg, 2),
        "f35": cam.f35,
        "px_per_mm": round(view.focal_px / cam.distance_mm, 3),
        "blur_px": round(scene.capture.blur_px, 3),
        "low_light": scene.capture.low_light,
        "notes": scene.notes,
        "surface_px": surface,
        "lowest_mark_px": lowest,
        "highest_mark_px": highest,
        "n_plastic": scene.tube.index,
    }

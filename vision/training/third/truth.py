"""What is true of a picture, in the words of the label file."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.training.third.draws import ThirdScene, bore_at
from vision.training.third.meniscus import surface_profile


def profile_of(scene: ThirdScene) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The surface in the bore at the level: radius, height over the lowest point, slope."""
    assert scene.level_mm is not None
    z = scene.level_mm
    widens = float(np.subtract(*bore_at(scene.scale, [z + 1.0, z - 1.0]))) / 2.0
    return surface_profile(scene.contact_deg, float(bore_at(scene.scale, z)), scene.capillary_mm,
                           widens)


def label_of(scene: ThirdScene) -> dict[str, Any]:
    """Label keys.  The true value belongs to the plane, square to gravity, through the lowest
    point of the surface on the axis; ``rim_value`` to the mean height of the contact line."""
    scale, camera = scene.scale, scene.camera
    out: dict[str, Any] = {"expect": scene.expect, "tier": scene.tier}
    if scene.level_mm is not None:
        value = float(scale.value_at(scene.level_mm))
        rise = float(profile_of(scene)[1][-1])
        x, y = camera.project(np.array([0.0, 0.0, scene.level_mm]))[0]
        out |= {"true_value": round(value, 4),
                "rim_value": round(float(scale.value_at(scene.level_mm + rise)), 4),
                "division": round(float(scale.division_at(value)), 6),
                "surface_px": [round(float(x), 1), round(float(y), 1)],
                "meniscus_rise_mm": round(rise, 3)}
    return out | {
        "elevation_deg": round(scene.elevation_deg, 3), "azimuth_deg": round(scene.turn_deg, 2),
        "roll_deg": round(scene.roll_deg, 2), "distance_mm": round(scene.distance_mm, 1),
        "lean_deg": round(math.degrees(math.atan(math.hypot(*scene.slope))), 3),
        "contact_angle_deg": round(scene.contact_deg, 2), "f35": round(scene.f35_mm),
        "capillary_mm": round(scene.capillary_mm, 3), "n_plastic": round(scene.wall_index, 4),
        "n_liquid": round(scene.liquid_index, 4), "fluid": scene.liquid, "light": scene.light,
        "background": scene.behind, "panel": scene.panel, "notes": list(scene.trouble),
        "wet_wall": bool(scene.wet.drops), "film": scene.wet.film_top_mm is not None,
        "ring": scene.wet.stain_mm is not None, "stepped": len(scale.diameter_knots) > 2,
        "marks_round": scene.print.round, "font": scene.print.font,
        "px_per_mm": round(camera.focal_px / scene.distance_mm, 3),
        "orientation": scene.capture.orientation, "engine": "Cycles"}

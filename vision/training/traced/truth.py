"""What is true of a traced picture, in the words of the label file."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.training.traced.bore import profile_of
from vision.training.traced.draws import TracedScene


def label_of(scene: TracedScene) -> dict[str, Any]:
    """Label keys.  The true value belongs to the plane, square to gravity, through the lowest
    point of the meniscus on the axis; ``rim_value`` to the contact line's mean height."""
    scale, pose = scene.scale, scene.pose
    out: dict[str, Any] = {"expect": scene.expect, "tier": scene.tier}
    if scene.level_mm is not None:
        value = float(scale.value_at(scene.level_mm))
        rim = scene.level_mm + float(profile_of(scene)[1][-1])
        x, y = pose.project(np.array([0.0, 0.0, scene.level_mm]))[0]
        out |= {"true_value": round(value, 4), "rim_value": round(float(scale.value_at(rim)), 4),
                "division": float(scale.division_at(value)),
                "surface_px": [round(float(x), 1), round(float(y), 1)],
                "meniscus_rise_mm": round(rim - scene.level_mm, 3)}
    if scene.foam or scene.fog or scene.mixed or scene.ink.round != "none":
        out |= {"foam": bool(scene.foam), "fog": round(scene.fog, 3), "round": scene.ink.round}
    return out | {
        "elevation_deg": round(scene.elevation_deg, 3), "azimuth_deg": round(scene.azimuth_deg, 2),
        "distance_mm": round(scene.distance_mm, 1), "roll_deg": round(scene.roll_deg, 2),
        "lean_deg": round(math.degrees(math.atan(math.hypot(*scene.lean))), 3),
        "fluid": scene.liquid, "light": scene.light, "background": scene.background,
        "contact_angle_deg": round(scene.contact_deg, 2), "f35": scene.f35,
        "k1": round(pose.k1, 4), "n_plastic": round(scene.wall_index, 4),
        "wet_wall": bool(scene.drops), "ring": scene.ring_mm is not None,
        "film": scene.film_mm is not None, "stepped": len(scene.scale.diameter_knots) > 2,
        "px_per_mm": round(pose.focal_px / scene.distance_mm, 3),
        "orientation": scene.capture["orientation"], "engine": "Mitsuba 3"}

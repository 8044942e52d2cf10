"""What is true of a picture, in the keys of the label file."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.training.fourth.capillary import surface
from vision.training.fourth.facts import Facts
from vision.training.fourth.scales import bore_at


def surface_of(facts: Facts) -> tuple[np.ndarray, np.ndarray]:
    """Radius and height over the lowest point (mm) of the surface at rest in this bore."""
    assert facts.level_mm is not None
    bores = bore_at(facts.scale, facts.level_mm + np.array([-1.0, 0.0, 1.0]))
    return surface(facts.wall_angle_deg, float(bores[1]), facts.capillary_mm,
                   float(bores[2] - bores[0]) / 2)


def label_of(facts: Facts) -> dict[str, Any]:
    """``true_value`` belongs to the plane, square to gravity, through the surface's lowest
    point, ``rim_value`` to the contact line's mean height."""
    row: dict[str, Any] = {"expect": facts.expect, "tier": facts.tier}
    scale = facts.scale
    if facts.level_mm is not None:
        value = float(scale.value_at(facts.level_mm))
        rise = float(surface_of(facts)[1][-1])
        at = facts.lens.appears(np.array([[0.0, facts.level_mm, 0.0]]))[0]
        row.update(true_value=round(value, 4),
                   rim_value=round(float(scale.value_at(facts.level_mm + rise)), 4),
                   division=round(float(scale.division_at(value)), 6),
                   surface_px=[round(float(c), 1) for c in at], meniscus_rise_mm=round(rise, 3))
    row.update(
        elevation_deg=round(facts.elevation_deg, 3), azimuth_deg=round(facts.turn_deg, 2),
        roll_deg=round(facts.roll_deg, 2), distance_mm=round(facts.distance_mm, 1),
        lean_deg=round(math.degrees(math.atan(math.hypot(*facts.tilt))), 3),
        contact_angle_deg=round(facts.wall_angle_deg, 2), f35=round(facts.f35_mm),
        capillary_mm=round(facts.capillary_mm, 3), n_plastic=round(facts.wall_index, 4),
        n_liquid=round(facts.liquid.index, 4), fluid=facts.liquid.name, light=facts.light,
        background=facts.backdrop, panel=facts.board,
        notes=[*facts.trouble, *(["foam"] if facts.inside.bubbles else [])],
        wet_wall=bool(facts.inside.drops), film=facts.inside.film_top_mm is not None,
        ring=facts.inside.ring_mm is not None, stepped=len(scale.diameter_knots) > 2,
        marks_round=facts.ink.round, font=facts.ink.font,
        px_per_mm=round(facts.lens.focal_px / facts.distance_mm, 3),
        orientation=facts.phone.orientation, engine="LuxCore")
    return row

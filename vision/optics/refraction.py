"""What refraction and the sight line do to a height on a chamber: pure formulas.

Elevation is the angle of the sight line, in the air outside the chamber,
against the plane square to the chamber axis; positive when the camera looks
down.  Everything works on numbers and on arrays alike.  The shape of the liquid
surface is in ``vision.optics.young_laplace`` and offered here too.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from vision.constants import WATER_REFRACTIVE_INDEX
from vision.optics.young_laplace import (
    WATER_CAPILLARY_LENGTH_MM,
    contact_angle_from_rise,
    meniscus_profile,
    meniscus_rise_mm,
)

__all__ = [
    "WALL_INDEX", "WALL_INDEX_SD", "WATER_CAPILLARY_LENGTH_MM", "apparent_height_shift_mm",
    "contact_angle_from_rise", "meniscus_profile", "meniscus_rise_mm",
    "refracted_elevation_deg", "snell", "wall_shift_mm",
]

N_WATER = WATER_REFRACTIVE_INDEX.value
#: Plastics of drip chambers: 1.49 (PMMA) to 1.59 (PC, PS); see ``constants``.
WALL_INDEX, WALL_INDEX_SD = 1.54, 0.03


def snell(sin_in: Any, n1: float, n2: float) -> Any:
    """Sine of the refracted angle when light goes from index ``n1`` into ``n2``.

    Snell's law n1 sin i = n2 sin r (Born, Wolf, *Principles of Optics*, 1.5).
    NaN where the light is totally reflected.
    """
    out = np.asarray(sin_in, dtype=float) * (n1 / n2)
    return _plain(np.where(np.abs(out) <= 1.0, out, np.nan))


def refracted_elevation_deg(elevation_deg: Any, n: float = N_WATER) -> Any:
    """Elevation inside a medium of index ``n`` behind a wall parallel to the axis.

    A flat or cylindrical wall of even thickness does not change it, whatever it
    is made of: n sin(elevation) is kept along the ray.
    """
    return _plain(np.degrees(np.arcsin(snell(np.sin(np.radians(elevation_deg)), 1.0, n))))


def wall_shift_mm(elevation_deg: Any, wall_mm: float, n_wall: float) -> Any:
    """How much less a ray climbs in the wall than it would in air of that thickness.

    t (tan e - tan e'), sin e' = sin e / n: the displacement by a plane-parallel
    plate, measured along the plate.  It has the sign of the elevation.
    """
    inside = np.radians(refracted_elevation_deg(elevation_deg, n_wall))
    return _plain(wall_mm * (np.tan(np.radians(elevation_deg)) - np.tan(inside)))


def apparent_height_shift_mm(elevation_deg: Any, radius_mm: Any, wall_mm: float = 0.0,
                             n_wall: float = 1.54, n_liquid: float = N_WATER) -> Any:
    """Height at which a point of the surface seems to stand on the front face, minus its height.

    The point lies ``radius_mm`` behind the inner face of the front wall (the
    bore radius for a point on the axis).  From above (elevation > 0) the ray
    runs through the air over the liquid and the shift is positive: the naive
    reading of a scale that counts upwards is too high.  From below it runs
    through the liquid, and the shift is negative.  At zero the two agree.

    R tan e + t tan e_wall, with e_liquid for e when seen from below.
    """
    e = np.asarray(elevation_deg, dtype=float)
    inside = np.where(e >= 0, e, refracted_elevation_deg(e, n_liquid))
    in_wall = refracted_elevation_deg(e, n_wall)
    return _plain(np.asarray(radius_mm) * np.tan(np.radians(inside))
                  + wall_mm * np.tan(np.radians(in_wall)))


def _plain(x: Any) -> Any:
    """A float for a single number, the array otherwise."""
    x = np.asarray(x)
    return float(x) if x.ndim == 0 else x

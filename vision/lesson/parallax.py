"""The parallax lesson: what an eye beside a chamber reads, what is true, and why they differ.

Pure formulas, no picture.  All lengths lie in the vertical plane through the eye and
the chamber's axis.  The eye stands ``distance_mm`` from the axis and
``eye_height_mm`` above the liquid level (both measured level and plumb); the
chamber leans away from the eye by ``lean_deg`` (minus: towards it).

A sight line keeps n sin(elevation) through a wall parallel to the axis, whatever
the wall is made of (Snell's law; Born, Wolf, *Principles of Optics*, 1.5).  What is
read is where that line crosses the outer face of the front wall, on which the marks
are printed; the lowest point of the surface, which is meant (ISO 4787), lies on the
axis behind it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, Literal

import numpy as np

from vision.constants import WATER_REFRACTIVE_INDEX
from vision.errors import InputError
from vision.optics.refraction import WALL_INDEX
from vision.optics.young_laplace import meniscus_rise_mm
from vision.scale_file.scale import Scale, parse_scale

Medium = Literal["air", "liquid"]

#: Bores the lesson offers; the printed scale is about as long in each.
BORE_BOUNDS_MM = (18.0, 44.0)
WALL_MM = 1.5
_LADDER_MM = 85.0
_CLOSEST_MARKS_MM = 1.25
_STEPS = 16
_BOUNDS = {"eye height": (-1000.0, 1000.0, "mm"), "distance": (100.0, 3000.0, "mm"),
           "contact angle": (0.0, 120.0, "degrees"), "lean": (-10.0, 10.0, "degrees")}


@lru_cache(maxsize=64)
def lesson_scale(bore_mm: float) -> Scale:
    """The printed scale of a teaching chamber of this bore: our own, a plain cylinder.

    One division is 0.5, 1, 2 or 5 mL, the smallest that leaves 1.25 mm between marks;
    a number stands at every 5 mL, or at every fifth mark where a division is more than 1 mL.
    """
    if not (math.isfinite(bore_mm) and BORE_BOUNDS_MM[0] <= bore_mm <= BORE_BOUNDS_MM[1]):
        low, high = BORE_BOUNDS_MM
        raise InputError(f"The bore of a lesson chamber lies between {low:g} and {high:g} mm.")
    mm_per_ml = 1000.0 / (math.pi / 4 * bore_mm**2)
    step = next(s for s in (0.5, 1.0, 2.0, 5.0) if s * mm_per_ml >= _CLOSEST_MARKS_MM)
    numbered = 5.0 if step <= 1 else 5 * step
    capacity = numbered * math.floor(_LADDER_MM / mm_per_ml / numbered)
    return parse_scale({
        "name": f"lesson-{bore_mm:g}", "unit": "mL", "direction": "up",
        "inner_diameter_mm": bore_mm, "wall_mm": WALL_MM, "capacity": capacity,
        "height_mm": [[0, 0.0], [capacity, round(capacity * mm_per_ml, 4)]],
        "marks": [{"from": 0, "to": capacity, "step": step, "length": "short"},
                  {"from": 0, "to": capacity, "step": numbered, "length": "long",
                   "label": True}]})


@dataclass(frozen=True)
class EyeView:
    """A chamber with its level, and the eye that looks at it.

    ``true_value`` in the scale's unit, lengths in mm, angles in degrees.
    ``InputError`` for an eye inside the chamber or numbers out of reason.
    """

    scale: Scale
    true_value: float
    eye_height_mm: float
    distance_mm: float
    contact_angle_deg: float = 70.0
    lean_deg: float = 0.0
    wall_index: float = WALL_INDEX
    liquid_index: float = WATER_REFRACTIVE_INDEX.value

    def __post_init__(self) -> None:
        given = {"eye height": self.eye_height_mm, "distance": self.distance_mm,
                 "contact angle": self.contact_angle_deg, "lean": self.lean_deg}
        for name, value in given.items():
            low, high, unit = _BOUNDS[name]
            if not (math.isfinite(value) and low <= value <= high):
                raise InputError(f"The {name} has to lie between {low:g} and {high:g} {unit}.")
        if self.scale.flat:
            raise InputError("A lesson needs the scale of a chamber, not a flat pressure scale.")

    @cached_property
    def bore_radius_mm(self) -> float:
        """Bore radius at the level."""
        return self.scale.inner_radius_mm(self.true_value)

    @cached_property
    def wall_mm(self) -> float:
        """From the bore at the level to the face that carries the print."""
        return self.scale.outer_radius_mm - self.bore_radius_mm

    @cached_property
    def level_mm(self) -> float:
        """Height of the level on the axis."""
        return float(self.scale.height_mm(self.true_value))

    @cached_property
    def division(self) -> float:
        """One division at the level, in the scale's unit."""
        return self.scale.division_at(self.true_value)

    @property
    def sight_deg(self) -> float:
        """Angle of the straight line from the eye to the level against the horizontal."""
        return math.degrees(math.atan2(self.eye_height_mm, self.distance_mm))

    @property
    def medium(self) -> Medium:
        """What the sight line crosses inside the chamber: the air above, or the liquid."""
        return "air" if self.eye_height_mm >= 0 else "liquid"


@dataclass(frozen=True)
class EyeReading:
    """What the eye reads, in the scale's unit; heights in mm above the level.

    ``naive_value`` is where the sight line to the lowest point crosses the marks,
    ``rim_value`` where the contact line on the front wall is seen and ``back_value`` where that
    on the back wall is.  ``elevation_deg`` is the
    angle of the sight line outside the chamber against the plane square to the
    axis.  ``path_mm`` is the sight line, (distance in front of the axis, height
    over the level) in the chamber's frame: eye, outer face, inner face, axis.
    """

    true_value: float
    naive_value: float
    rim_value: float
    back_value: float
    unit: str
    division: float
    shift_mm: float
    rise_mm: float
    elevation_deg: float
    medium: Medium
    path_mm: tuple[tuple[float, float], ...]

    @property
    def error(self) -> float:
        """Naive reading minus true one, in the scale's unit."""
        return self.naive_value - self.true_value

    @property
    def error_divisions(self) -> float:
        """The same in divisions."""
        return self.error / self.division


@lru_cache(maxsize=64)  # a task is laid out, checked and judged on the same view
def eye_reading(view: EyeView) -> EyeReading:
    """Follow the sight line from the eye to the lowest point of the surface."""
    elevation, wall_climb, shift = (float(x) for x in _to_axis(view, view.eye_height_mm))
    front, height = _eye(view, view.eye_height_mm)
    scale, level = view.scale, view.level_mm
    rise = float(meniscus_rise_mm(view.contact_angle_deg, view.bore_radius_mm))
    # A level surface, seen from the leaning wall, stands lower at the front, higher at the back.
    lean = view.bore_radius_mm * math.tan(math.radians(view.lean_deg))
    rim = rise - lean + float(_bend(view, front, height - rise + lean, 0.0, view.medium)[1])
    _, *climbs = _bend(view, front, height - rise - lean, 2 * view.bore_radius_mm, view.medium)
    back = rise + lean + sum(map(float, climbs))
    outer, inner = scale.outer_radius_mm, view.bore_radius_mm
    return EyeReading(
        true_value=view.true_value, naive_value=float(scale.value_at(level + shift)),
        rim_value=float(scale.value_at(level + rim)),
        back_value=float(scale.value_at(level + back)), unit=scale.unit,
        division=view.division, shift_mm=shift, rise_mm=rise, elevation_deg=elevation,
        medium=view.medium,
        path_mm=((float(front), float(height)), (outer, shift),
                 (inner, shift - wall_climb), (0.0, 0.0)))


def error_curve(view: EyeView, eye_heights_mm: Any) -> np.ndarray:
    """Naive minus true value (N,) for eyes at these heights (N,), all else as in ``view``."""
    heights = np.asarray(eye_heights_mm, dtype=float)
    _, _, shift = _to_axis(view, heights)
    return np.asarray(view.scale.value_at(view.level_mm + shift)) - view.true_value


def _eye(view: EyeView, eye_height_mm: Any) -> tuple[Any, Any]:
    """The eye in the chamber's frame: in front of the axis, over the level."""
    b = math.radians(view.lean_deg)
    h = np.asarray(eye_height_mm, dtype=float)
    return (view.distance_mm * math.cos(b) + h * math.sin(b),
            h * math.cos(b) - view.distance_mm * math.sin(b))


def _to_axis(view: EyeView, eye_height_mm: Any) -> tuple[Any, Any, Any]:
    """Elevation outside (deg), climb in the wall and height on the outer face (mm)."""
    front, height = _eye(view, eye_height_mm)
    above = np.asarray(eye_height_mm, dtype=float) >= 0
    through_air = _bend(view, front, height, view.bore_radius_mm, "air")
    through_liquid = _bend(view, front, height, view.bore_radius_mm, "liquid")
    elevation, wall, climb = (np.where(above, a, b)
                              for a, b in zip(through_air, through_liquid, strict=True))
    return elevation, wall, wall + climb


def _bend(view: EyeView, front: Any, height: Any, depth_mm: float, medium: Medium
          ) -> tuple[Any, Any, Any]:
    """The line from an eye to a point ``depth_mm`` behind the wall's inner face.

    ``height`` is the eye's over that point.  Newton's steps in the slope of the line,
    with the slope near the normal: each leaves less than a fifth of the error.
    """
    inside = 1.0 if medium == "air" else view.liquid_index
    free, thick = front - view.scale.outer_radius_mm, view.wall_mm

    def climbs(slope: Any) -> tuple[Any, Any]:
        """In the wall and behind it, mm."""
        outside = slope / np.sqrt(1 + slope * slope)  # the sine of the elevation
        # From air nothing is totally reflected: Snell's law without the look for it.
        return tuple(far * sine / np.sqrt(1 - sine * sine) for far, sine in (
            (thick, outside * (1.0 / view.wall_index)), (depth_mm, outside * (1.0 / inside))))

    steepness = free + thick / view.wall_index + depth_mm / inside
    slope = np.asarray(height / steepness, dtype=float)
    for _ in range(_STEPS):
        slope = slope + (height - free * slope - sum(climbs(slope))) / steepness
    return np.degrees(np.arctan(slope)), *climbs(slope)

"""Third and fourth stage: the map along the pointer's upright line, and the value there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.budget import NORMAL_95, BudgetTerm, combined_standard_uncertainty
from vision.parameters import POINTER_BEYOND_DIVISIONS, POINTER_DEPTH_MM, POINTER_VIEW_DEG
from vision.pressure_panel.planar_scale import FlatLadder, UprightMap
from vision.scale_file.scale import Scale


@dataclass(frozen=True)
class PointerEstimate:
    """Value at the pointer with its budget, in the scale's unit; ``line_px`` (2, 2) runs from
    the pointer to the marks, in the working picture.  No budget for a pointer off the scale.
    """

    value: float
    on_scale: bool
    budget: tuple[BudgetTerm, ...]
    line_px: np.ndarray

    @property
    def half_width(self) -> float:
        """Half of the 95 % interval."""
        return NORMAL_95 * combined_standard_uncertainty(self.budget)


def estimate_pointer(ladder: FlatLadder, at: tuple[float, float], tap_sd_px: float
                     ) -> PointerEstimate:
    """What stands at a point of the working picture, tapped to ``tap_sd_px`` of its pixels."""
    scale, (x, y) = ladder.scale, at
    upright = ladder.map_at(x)
    height = upright.height(y)
    value = float(scale.value_at(height))
    slack = POINTER_BEYOND_DIVISIONS * scale.smallest_division
    on_scale = scale.lowest_mark.value - slack <= value <= scale.highest_mark.value + slack
    edge = float(ladder.centre_px[:, 0].mean())
    return PointerEstimate(
        value, on_scale, _budget(scale, upright, height, tap_sd_px) if on_scale else (),
        np.array([[x, y], [edge, y + (edge - x) * float(ladder.slope(y))]]))


def _budget(scale: Scale, upright: UprightMap, height: float, tap_sd_px: float
            ) -> tuple[BudgetTerm, ...]:
    per_mm = abs(float(scale.value_at(height + 0.5) - scale.value_at(height - 0.5)))
    per_px = per_mm / upright.px_per_mm(height)
    depth = POINTER_DEPTH_MM * math.tan(math.radians(POINTER_VIEW_DEG)) / math.sqrt(3)
    terms = [
        BudgetTerm("tapped point", tap_sd_px * per_px, scale.unit,
                   "standard uncertainty of a tap"),
        BudgetTerm("marks of the scale", upright.sd_px(height) * per_px, scale.unit,
                   f"fit through {upright.marks} marks"),
        BudgetTerm("direction of the marks", upright.direction_sd_px * per_px, scale.unit,
                   "from the marks across to the pointer"),
        BudgetTerm("pointer in front of the print", depth * per_mm, scale.unit,
                   f"up to {POINTER_DEPTH_MM:g} mm, seen up to {POINTER_VIEW_DEG:g} degrees off"),
    ]
    if scale.tolerance:
        terms.append(BudgetTerm("printed scale", scale.tolerance / math.sqrt(3), scale.unit,
                                "tolerance of the scale file"))
    return tuple(terms)

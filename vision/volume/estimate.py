"""From a surface to a value with its interval and every term of its budget.

The largest term, edge and shape of the meniscus, is not normal: it comes as a
probability over heights.  The scale's tolerance is rectangular, the others are normal;
the interval is taken from the convolution of all (propagation of distributions,
JCGM 101:2008, 5.9 and 7.7, done by quadrature instead of by drawing).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from vision.budget import BudgetTerm
from vision.graduations.cylinder_pose import INDEPENDENT_POINTS
from vision.graduations.fit import GraduationFit
from vision.meniscus_image.detect import MeniscusPosterior
from vision.optics.refraction import WALL_INDEX, WALL_INDEX_SD, apparent_height_shift_mm
from vision.parameters import (
    COVERED_FLAG_SEEN,
    HARDLY_ODDS,
    LEAN_FLAG_DEG,
    MENISCUS_FLAG_SD_MM,
    STEEP_FLAG_DEG,
    TAUGHT_PLACE_ODDS,
    TURNED_FLAG_DEG,
    UNLIKE_DOUBTED_SHARE,
    UNLIKE_SHARE,
)
from vision.scale_file.scale import Scale

#: The one term that is not normal.  Where the edge runs is no term of its own: the probability that
#: the offset network gives is already that of the level, wherever in its view the edge is
#: (components are not to be counted twice: JCGM 100:2008, 4.3.10).
MENISCUS_TERM = "edge and shape of the meniscus"
#: A drip chamber hung on its panel is plumb to about this; what the picture shows
#: of a larger lean is part of the meniscus term.
_LEAN_SD_DEG = 0.2
#: Walls differ from the scale file by about this.
_WALL_SD_MM = 0.1
#: Marks are printed to about this (common practice, no source).
_PRINT_SD_MM = 0.05
_STEP_MM = 0.01


@dataclass(frozen=True)
class HeightTerm:
    """One normal term of the budget, as standard uncertainty of the level's height.

    ``shared`` by all photos of one chamber: looking again does not make it smaller.
    """

    name: str
    sd_mm: float
    note: str
    shared: bool


@dataclass(frozen=True)
class LevelEstimate:
    """``value`` and ``interval`` in the scale's unit; heights in mm; ``surface_px`` in
    pixels of the picture in which the marks were found; ``terms`` all but the meniscus."""

    value: float
    interval: tuple[float, float]
    naive_value: float
    elevation_deg: float
    elevation_sd_deg: float
    level_mm: float
    interval_mm: tuple[float, float]
    surface_px: tuple[float, float]
    budget: tuple[BudgetTerm, ...]
    flags: tuple[str, ...]
    terms: tuple[HeightTerm, ...] = ()

    def sd_mm(self, shared: bool) -> float:
        """Standard uncertainty of the terms that photos share, or of those they do not."""
        return math.sqrt(sum(t.sd_mm**2 for t in self.terms if t.shared is shared))


def estimate_level(meniscus: MeniscusPosterior, fit: GraduationFit, scale: Scale) -> LevelEstimate:
    """Combine the surface, the view and the ladder."""
    pose = fit.pose
    level = meniscus.level_mm
    elevation = math.degrees(float(pose.elevation_rad(level)))
    elevation_sd = pose.elevation_sd_deg(level)
    ladder_sd = pose.residual_px / math.sqrt(INDEPENDENT_POINTS) / max(pose.px_per_mm(level), 1e-6)

    def shift(el: float, wall: float, n: float) -> float:
        return float(apparent_height_shift_mm(el, 0.0, wall, n))

    view_sd = abs(shift(elevation + elevation_sd, meniscus.wall_mm, WALL_INDEX)
                  - shift(elevation, meniscus.wall_mm, WALL_INDEX))
    index_sd = abs(shift(elevation, meniscus.wall_mm, WALL_INDEX + WALL_INDEX_SD)
                   - shift(elevation, meniscus.wall_mm, WALL_INDEX))
    wall_sd = abs(shift(elevation, meniscus.wall_mm + _WALL_SD_MM, WALL_INDEX)
                  - shift(elevation, meniscus.wall_mm, WALL_INDEX))
    lean_sd = meniscus.bore_radius_mm * math.tan(math.radians(_LEAN_SD_DEG))
    terms: tuple[HeightTerm, ...] = (
        HeightTerm("fit of the marks", ladder_sd,
                   f"residuals of the marks, {INDEPENDENT_POINTS:g} independent points", False),
        HeightTerm("print of the marks", _PRINT_SD_MM, "common practice, no source", True),
        HeightTerm("elevation of the view", view_sd,
                   f"sight line known to {elevation_sd:.1f} deg", False),
        HeightTerm("refractive index of the wall", index_sd, "clear plastics, 1.49 to 1.59", True),
        HeightTerm("thickness of the wall", wall_sd,
                   f"{_WALL_SD_MM:g} mm against the scale file", True),
        HeightTerm("lean of the chamber", lean_sd,
                   f"{_LEAN_SD_DEG:g} deg beyond what the picture shows", True),
    )
    unlike = UNLIKE_SHARE if meniscus.odds >= TAUGHT_PLACE_ODDS else UNLIKE_DOUBTED_SHARE
    unlike_sd = unlike * math.hypot(meniscus.meniscus_sd_mm, *(t.sd_mm for t in terms))
    terms += (HeightTerm("pictures unlike those that taught", unlike_sd,
                         f"{unlike:g} of all other terms together, from scenes of another "
                         "renderer", False),)
    normal_sd = math.sqrt(sum(t.sd_mm**2 for t in terms))
    per_mm = value_per_mm(scale, level)
    low_mm, high_mm = _interval(meniscus, normal_sd, (scale.tolerance or 0.0) / per_mm)
    budget = (BudgetTerm(MENISCUS_TERM, meniscus.meniscus_sd_mm * per_mm, scale.unit,
                         "where the contact line runs and how far it rises above the lowest "
                         "point, from the picture"),
              *budget_terms(terms, scale, per_mm))
    value = float(scale.value_at(level))
    bounds = sorted((float(scale.value_at(low_mm)), float(scale.value_at(high_mm))))
    seen_at = level + float(apparent_height_shift_mm(
        elevation, meniscus.bore_radius_mm, meniscus.wall_mm, WALL_INDEX))
    middle = 0.5 * (fit.core_rad[0] + fit.core_rad[1])
    at = pose.project(pose.on_wall(np.array([middle]), np.array([level])))[0]
    return LevelEstimate(
        value, (bounds[0], bounds[1]), float(scale.value_at(seen_at)), elevation, elevation_sd,
        level, (low_mm, high_mm), (float(at[0]), float(at[1])), budget,
        _flags(meniscus, fit, elevation, middle), terms)


def value_per_mm(scale: Scale, level_mm: float) -> float:
    """How much the value changes with a mm of height, in the scale's unit."""
    return abs(float(scale.value_at(level_mm + 0.5)) - float(scale.value_at(level_mm - 0.5)))


def budget_terms(terms: Iterable[HeightTerm], scale: Scale, per_mm: float
                 ) -> tuple[BudgetTerm, ...]:
    """Terms in the scale's unit, with the scale's own tolerance where it states one."""
    out = [BudgetTerm(t.name, t.sd_mm * per_mm, scale.unit, t.note) for t in terms]
    if scale.tolerance:
        out.append(BudgetTerm("scale tolerance", scale.tolerance / math.sqrt(3), scale.unit,
                              "stated in the scale file, taken as rectangular"))
    return tuple(out)


def _interval(meniscus: MeniscusPosterior, normal_sd: float, tolerance_mm: float
              ) -> tuple[float, float]:
    """Heights that hold 95 % of the meniscus's probability and all other laws convolved, mm."""
    offset, p = meniscus.offset_mm, meniscus.offset_probability
    # within its bin the probability is spread evenly
    width = offset[1] - offset[0] if len(offset) > 1 else 0.0
    sd = math.hypot(max(normal_sd, 0.02), width / math.sqrt(12.0))
    reach = 5 * sd + tolerance_mm
    grid = np.arange(offset[0] - reach, offset[-1] + reach + _STEP_MM, _STEP_MM)
    density = np.exp(-0.5 * ((grid[:, None] - offset[None]) / sd) ** 2) @ p
    low, high = percentiles(grid, density, tolerance_mm, meniscus.tail)
    return meniscus.reference_mm - high, meniscus.reference_mm - low


def percentiles(grid: np.ndarray, density: np.ndarray, tolerance_mm: float, tail: float
                ) -> tuple[float, float]:
    """Where a density on an even grid, convolved with a rectangle of +/- the tolerance,
    leaves ``tail`` on either side."""
    from scipy.ndimage import uniform_filter1d

    step = float(grid[1] - grid[0])
    if tolerance_mm > 0.0:
        density = uniform_filter1d(density, max(1, round(2 * tolerance_mm / step)),
                                   mode="constant")
    total = np.cumsum(density)
    low, high = np.interp([tail, 1.0 - tail], total / total[-1], grid)
    return float(low), float(high)


def _flags(meniscus: MeniscusPosterior, fit: GraduationFit, elevation: float, middle_rad: float
           ) -> tuple[str, ...]:
    flags = []
    if abs(elevation) > STEEP_FLAG_DEG:
        flags.append("steep-view")
    if abs(math.degrees(middle_rad)) > TURNED_FLAG_DEG:
        flags.append("turned-view")
    if meniscus.line is not None and (
            abs(meniscus.line.slope) > math.tan(math.radians(LEAN_FLAG_DEG))):
        flags.append("leaning")
    if fit.seen.mean() < COVERED_FLAG_SEEN:
        flags.append("marks-covered")
    if meniscus.meniscus_sd_mm > MENISCUS_FLAG_SD_MM:
        flags.append("meniscus-uncertain")
    if meniscus.odds < HARDLY_ODDS:
        flags.append("surface-unlike")
    return tuple(flags)

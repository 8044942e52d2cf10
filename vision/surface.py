"""The liquid surface on the unrolled wall: where it is, and what else it could be.

Two independent looks have to agree: the finder, which knows the whole chamber, and
a straight, level line of change across it, which is what the front contact line
must be once the wall is unrolled.  From that line the gauge says how far below it
the level lies (rise of the meniscus, lean), as a probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.contact_line import ContactLine, find_contact_line
from vision.ladder import Ladder
from vision.optics import apparent_height_shift_mm
from vision.pose import CylinderPose
from vision.scale import Scale
from vision.strip import view
from vision.surface_grid import Grid, whole_grid, window_grid
from vision.surface_input import BIN_CENTRES_MM
from vision.surface_nets import SPARE_ROWS, find_rows, gauge_level

#: Plastics of drip chambers: 1.49 (PMMA) to 1.59 (PC, PS); see ``constants``.
WALL_INDEX, WALL_INDEX_SD = 1.54, 0.03
#: Elevation doubt (standard uncertainty) above which it is passed through the gauge.
_DOUBT_DEG = 1.0
#: Two peaks of the finder nearer than this are one surface.
_SAME_MM = 1.2
#: Share of the belief from which a place needs no second look.
SURE_BELIEF = 0.85
#: How far from a place of the finder its contact line may lie, and how near to one
#: another two findings of the same line are.
_LINE_REACH_MM, _SAME_LINE_MM = 0.9, 0.35
_NATS_PER_CONTRAST = 0.5


@dataclass(frozen=True)
class Candidate:
    """A place where the surface may be: height on the wall straight in front, and
    the share of the finder's belief that lies there."""

    height_mm: float
    belief: float


@dataclass(frozen=True)
class Surface:
    """The front contact line and the level that follows.

    ``line`` is the contact line on the outer wall; ``offset_mm`` and
    ``offset_probability`` (N,) say how far below ``reference_mm`` the level lies;
    ``shift_mm`` is the part of it that the wall's refraction makes.
    """

    line: ContactLine | None
    reference_mm: float
    offset_mm: np.ndarray
    offset_probability: np.ndarray
    shift_mm: float
    bore_radius_mm: float
    wall_mm: float
    candidates: tuple[Candidate, ...]
    nothing: float

    @property
    def level_mm(self) -> float:
        """Median height of the level: the probability is skewed, and half of it lies
        on either side of what is read."""
        total = np.cumsum(self.offset_probability) - 0.5 * self.offset_probability
        return self.reference_mm - float(np.interp(0.5, total, self.offset_mm))

    @property
    def meniscus_sd_mm(self) -> float:
        """Standard deviation of the offset."""
        mean = float(self.offset_mm @ self.offset_probability)
        return float(np.sqrt(max(self.offset_mm**2 @ self.offset_probability - mean**2, 0.0)))


def _peaks(p: np.ndarray, grid: Grid) -> list[Candidate]:
    """Places of the finder's belief, each with the belief around it."""
    left = p.copy()
    z = grid.height_mm
    found: list[Candidate] = []
    while len(found) < 6:
        k = int(np.argmax(left))
        near = np.abs(z - z[k]) <= _SAME_MM
        mass = float(left[near].sum())
        if mass < 0.02:
            break
        centre = float((z[near] * left[near]).sum() / mass)
        found.append(Candidate(centre, mass))
        left[near] = 0.0
    return found


def _above_floor(q: np.ndarray, level_mm: np.ndarray, scale: Scale) -> np.ndarray:
    """The probability without levels of less than no liquid at all."""
    value, floor = scale.height_knots[0]
    if value != 0.0:
        return q
    sign = 1.0 if scale.direction == "up" else -1.0
    left = np.where(sign * (level_mm - floor) >= 0.0, q, 0.0)
    return left / left.sum() if left.sum() > 0.02 else q


def _at_steps(scale: Scale, pose: CylinderPose, height_mm: np.ndarray) -> np.ndarray:
    """(Z,) True where a step of the bore is seen on the outer wall.

    The rim of a step is a level line like the surface itself.  Belief that falls
    there is lost, not passed on: a surface at a step can not be told from it.
    """
    out = np.zeros(len(height_mm), dtype=bool)
    knots = scale.diameter_knots
    for (v0, d0), (v1, d1) in zip(knots[:-1], knots[1:], strict=True):
        if abs(d1 - d0) < 0.05 * d0:
            continue
        low, high = sorted((float(scale.height_mm(v0)), float(scale.height_mm(v1))))
        wall = scale.outer_radius_mm - min(d0, d1) / 2
        e = math.degrees(float(pose.elevation_rad(0.5 * (low + high))))
        shift = float(apparent_height_shift_mm(e, 0.0, wall, WALL_INDEX))
        out |= (height_mm > low - 0.8 + min(shift, 0)) & (height_mm < high + 0.8 + max(shift, 0))
    return out


def _settled(candidates: list[Candidate], rgb: np.ndarray, ladder: Ladder, px_per_mm: float
             ) -> list[Candidate]:
    """The candidates with what the unrolled wall itself says about them, likeliest first.

    The front contact line is straight and level there.  Places from which the search
    for such a line ends on the same one are one surface, and the clearer the line, the
    likelier it is the surface: half a nat for each unit of its contrast, since steps,
    drops and highlights can be clear lines too.
    """
    merged: list[list[float]] = []  # height, belief, contrast
    for c in candidates:
        line = find_contact_line(rgb, ladder.pose, ladder.scale, ladder.core_rad, ladder.long_rad,
                                 c.height_mm, _LINE_REACH_MM, px_per_mm)
        height, contrast = (c.height_mm, 0.0) if line is None else (line.height_mm, line.contrast)
        same = next((m for m in merged if contrast > 0.5 and m[2] > 0.5
                     and abs(m[0] - height) < _SAME_LINE_MM), None)
        if same is None:
            merged.append([height, c.belief, contrast])
        else:
            same[1] += c.belief
    total = sum(m[1] for m in merged)
    weight = [m[1] * math.exp(_NATS_PER_CONTRAST * max(m[2], 0.0)) for m in merged]
    settled = [Candidate(m[0], total * w / sum(weight))
               for m, w in zip(merged, weight, strict=True)]
    return sorted(settled, key=lambda c: -c.belief)


def find_surface(rgb: np.ndarray, ladder: Ladder, px_per_mm: float,
                 near_mm: float | None = None) -> Surface:
    """Look for the surface in ``rgb`` ((H, W, 3) uint8, the picture of the ladder).

    ``near_mm`` restricts the search to a height that a person has pointed at.
    """
    scale, pose = ladder.scale, ladder.pose
    grid = whole_grid(scale.lowest_mark.height_mm, scale.highest_mark.height_mm)
    whole = view(rgb, pose, grid, px_per_mm)
    middle = 0.5 * (scale.lowest_mark.height_mm + scale.highest_mark.height_mm)
    p, nothing = find_rows(whole, math.degrees(float(pose.elevation_rad(middle))),
                           scale.inner_radius_mm(scale.value_at(middle)), grid.step_mm)
    if near_mm is not None:
        p = np.where(np.abs(grid.height_mm - near_mm) < 5.0, p + 1e-6, 0.0)
        nothing *= 0.2
        p *= (1.0 - nothing) / max(float(p.sum()), 1e-12)
    p = p * ~_at_steps(scale, pose, grid.height_mm)
    candidates = _peaks(p, grid)
    if not candidates:
        empty = np.array([0.0])
        return Surface(None, middle, empty, np.array([1.0]), 0.0, 1.0, 0.0, (), nothing)
    if candidates[0].belief < SURE_BELIEF:
        candidates = _settled(candidates, rgb, ladder, px_per_mm)
    about = candidates[0].height_mm
    line = find_contact_line(rgb, pose, scale, ladder.core_rad, ladder.long_rad, about,
                             _SAME_MM, px_per_mm)
    centre = about if line is None or line.contrast < 1.0 else line.height_mm
    value = float(scale.value_at(centre - 0.5))
    radius = scale.inner_radius_mm(value)
    wall = scale.outer_radius_mm - radius
    elevation = math.degrees(float(pose.elevation_rad(centre)))
    close = view(rgb, pose, window_grid(centre, SPARE_ROWS), px_per_mm)
    foot = min(scale.lowest_mark.height_mm, scale.highest_mark.height_mm)
    # Where the sight line is poorly known (no focal length, a steep view), its doubt
    # goes through the gauge: three elevations with the same mean and spread.
    doubt = pose.elevation_sd_deg(centre)
    at = [elevation] if doubt < _DOUBT_DEG else [
        elevation - 1.22 * doubt, elevation, elevation + 1.22 * doubt]
    q = np.mean([gauge_level(close, whole, e, radius, wall, centre - foot, px_per_mm)
                 for e in at], axis=0)
    shift = float(apparent_height_shift_mm(elevation, 0.0, wall, WALL_INDEX))
    q = _above_floor(q, centre - BIN_CENTRES_MM - shift, scale)
    return Surface(line, centre, BIN_CENTRES_MM + shift, q, shift, radius, wall,
                   tuple(candidates), nothing)

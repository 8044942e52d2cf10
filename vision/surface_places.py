"""Places where the surface may be, each looked at closely, and how much each is believed.

The finder, which knows the whole chamber, proposes; the gauge, which sees one place
closely, says how well the picture there fits a front contact line.  Steps of the bore
are left out: their rim is a level line like the surface itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.contact_line import ContactLine, find_contact_line
from vision.ladder import Ladder
from vision.optics import WALL_INDEX, apparent_height_shift_mm
from vision.pose import CylinderPose
from vision.scale import Scale
from vision.strip import view
from vision.surface_grid import Grid, whole_grid, window_grid
from vision.surface_input import BIN_CENTRES_MM
from vision.surface_nets import CloseLook, find_rows, gauge_level

#: Elevation doubt (standard uncertainty) above which it is passed through the gauge.
_DOUBT_DEG = 0.4
#: Two peaks of the finder nearer than this are one surface.
_SAME_MM = 1.2
#: Share of belief that is always left for what neither network thought of.
_UNTHOUGHT = 0.005
#: How far from a place of the finder its contact line may lie, and up to where both are
#: the same to the gauge, which was taught with such errors.
_LINE_REACH_MM, _SAME_LINE_MM = 0.9, 0.3


@dataclass(frozen=True)
class Candidate:
    """A place where the surface may be: height on the wall straight in front, and
    the share of the belief that lies there (the finder's; once weighed, both networks')."""

    height_mm: float
    belief: float


@dataclass(frozen=True)
class Place:
    """A candidate looked at closely: where its line is, and what the gauge says there."""

    height_mm: float
    belief: float
    line: ContactLine | None
    look: CloseLook


class Search:
    """One look for the surface in one picture."""

    def __init__(self, rgb: np.ndarray, ladder: Ladder, px_per_mm: float) -> None:
        self.rgb, self.ladder, self.px_per_mm = rgb, ladder, px_per_mm
        scale = ladder.scale
        ends = scale.lowest_mark.height_mm, scale.highest_mark.height_mm
        self.foot_mm, self.middle_mm = min(ends), 0.5 * sum(ends)
        self.grid = whole_grid(*ends)
        self.whole = view(rgb, ladder.pose, self.grid, px_per_mm)

    def candidates(self, near_mm: float | None) -> tuple[list[Candidate], float]:
        """Places of the finder, likeliest first, and its belief in no surface in sight."""
        scale, pose, grid = self.ladder.scale, self.ladder.pose, self.grid
        p, nothing = find_rows(
            self.whole, math.degrees(float(pose.elevation_rad(self.middle_mm))),
            scale.inner_radius_mm(scale.value_at(self.middle_mm)), grid.step_mm)
        if near_mm is not None:
            p = np.where(np.abs(grid.height_mm - near_mm) < 5.0, p + 1e-6, 0.0)
            nothing *= 0.2
            p *= (1.0 - nothing) / max(float(p.sum()), 1e-12)
        p = p * ~_at_steps(scale, pose, grid.height_mm)
        return _peaks(p, grid), nothing

    def bore(self, height_mm: float) -> tuple[float, float]:
        """Radius of the bore and thickness of the wall at a height."""
        scale = self.ladder.scale
        radius = scale.inner_radius_mm(float(scale.value_at(height_mm - 0.5)))
        return radius, scale.outer_radius_mm - radius

    def look_at(self, candidate: Candidate) -> Place:
        """The contact line near a candidate, and the gauge's word on it.

        The clearest line near the place that the finder points at may be the back edge,
        which in a steep view runs just beside the front one, and the finder may be that
        far off itself.  Where they part, the gauge looks at both, and the better one
        counts for more; what they disagree about widens the answer.
        """
        ladder, about = self.ladder, candidate.height_mm
        line = find_contact_line(self.rgb, ladder.pose, ladder.scale, ladder.core_rad,
                                 ladder.long_rad, about, _LINE_REACH_MM, self.px_per_mm)
        if line is None or line.contrast < 1.0:
            return Place(about, candidate.belief, line, self._gauge(about))
        other = self._gauge(line.height_mm)
        if abs(line.height_mm - about) < _SAME_LINE_MM:
            return Place(line.height_mm, candidate.belief, line, other)
        look = self._gauge(about)
        # the other's level, told from this place
        moved = np.interp(BIN_CENTRES_MM, BIN_CENTRES_MM + about - line.height_mm,
                          other.probability, left=0.0, right=0.0)
        both = (look.odds * look.probability + other.odds * moved) / (look.odds + other.odds)
        look = CloseLook(both / both.sum(), max(look.odds, other.odds))
        return Place(about, candidate.belief, line, look)

    def _gauge(self, centre_mm: float) -> CloseLook:
        """The gauge's word on one height of the wall.

        Where the sight line is poorly known (no focal length, a steep view), its doubt
        goes through the gauge: three elevations with the same mean and spread.
        """
        pose = self.ladder.pose
        radius, wall = self.bore(centre_mm)
        elevation = math.degrees(float(pose.elevation_rad(centre_mm)))
        close = view(self.rgb, pose, window_grid(centre_mm), self.px_per_mm)
        doubt = pose.elevation_sd_deg(centre_mm)
        at = [elevation] if doubt < _DOUBT_DEG else [
            elevation - 1.22 * doubt, elevation, elevation + 1.22 * doubt]
        looks = [gauge_level(close, self.whole, e, radius, wall, centre_mm - self.foot_mm,
                             self.px_per_mm) for e in at]
        return CloseLook(np.mean([k.probability for k in looks], axis=0),
                         float(np.exp(np.mean([math.log(k.odds) for k in looks]))))


def weigh(places: list[Place], nothing: float) -> list[tuple[float, Place]]:
    """The belief in each place, likeliest first: the finder's, times the gauge's odds.

    What the finder believes elsewhere stays as it is, so that a place of which the
    gauge knows nothing good can not win for want of others.
    """
    rest = max(1.0 - sum(q.belief for q in places), nothing, _UNTHOUGHT)
    weight = [q.belief * q.look.odds for q in places]
    total = sum(weight) + rest
    return sorted(((w / total, q) for w, q in zip(weight, places, strict=True)),
                  key=lambda m: -m[0])


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

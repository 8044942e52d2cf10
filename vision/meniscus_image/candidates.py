"""Places where the surface may be, each looked at closely, and how much each is believed.

The row network, which knows the whole chamber, proposes; the offset network, which sees one place
closely, says how well the picture there fits a front contact line.  Steps of the bore
are left out: their rim is a level line like the surface itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from vision.graduations.cylinder_pose import CylinderPose
from vision.graduations.fit import GraduationFit
from vision.meniscus_image.contact_line import ContactLine, find_contact_line
from vision.meniscus_image.features import BIN_CENTRES_MM, HARD_ELEVATION_DEG
from vision.meniscus_image.networks import (
    MOST_ODDS,
    CloseLook,
    OffsetPosterior,
    close_look,
    mirrored,
    offset_posterior,
    row_probability,
)
from vision.meniscus_image.unroll import view
from vision.meniscus_image.views import Grid, whole_grid, window_grid
from vision.optics.refraction import WALL_INDEX, apparent_height_shift_mm
from vision.parameters import OTHER_SIDE_DEG, OTHER_SIDE_NATS, PLAIN_ODDS
from vision.scale_file.scale import Scale

#: Elevation doubt (standard uncertainty) above which it is passed through the offset network.
_DOUBT_DEG = 0.4
#: Two peaks of the row network nearer than this are one surface.
_SAME_MM = 1.6
#: Share of belief that is always left for what neither network thought of.
_UNTHOUGHT = 0.005
#: How far from a place of the row network its contact line may lie.
_LINE_REACH_MM = 0.9
#: Beliefs are not taken to be smaller than this.
_NO_BELIEF = 1e-6
#: From places no farther apart than this the offset network sees the same line, if it is one.
_SAME_WINDOW_MM = 2.5
#: So far beside a place the offset network looks whether another line is as much a front line,
#: and the share of the odds that counts as that.
_BESIDE_MM, _AS_WELL = (-3.0, -2.0, 2.0, 3.0), 0.7
#: The tube is searched in steps of a little less than twice what a line may be off the middle of a
#: window (``views.NEAR_MM``), and no nearer than so to what was looked at, mm.
_SCAN_MM, AWAY_MM = 3.0, 3.5
#: Change of the bore's diameter per mm of height from which its wall is a step, not a taper, and
#: the least that counts.  Our choice: drawn tapers change by up to 0.1, cones by 0.7 and more.
_STEEP_BORE, _LEAST_STEP_MM = 0.3, 0.01


@dataclass(frozen=True)
class RowPeak:
    """A place where the surface may be: height on the wall straight in front, and
    the share of the belief that lies there (the row network's; once weighed, both networks')."""

    height_mm: float
    weight: float


@dataclass(frozen=True)
class MeniscusCandidate:
    """A candidate looked at closely: where its line is, and what the offset network says there."""

    height_mm: float
    weight: float
    line: ContactLine | None
    look: OffsetPosterior


@dataclass(frozen=True)
class LevelMode:
    """One way to understand the picture: its probability ``weight``, and ``probability`` (N,)
    of each height ``level_mm`` (N,) that the level then has."""

    weight: float
    level_mm: np.ndarray
    probability: np.ndarray


class Search:
    """One look for the surface in one picture, or in several of one tube that differ by what is
    printed on it: what the networks say is then the mean of all.

    ``side`` is -1 where the networks are told that the camera stood as far on the other side of
    the surface, below it instead of above it, as the marks say.
    """

    side = 1.0

    def __init__(self, pictures: Sequence[np.ndarray], fit: GraduationFit, px_per_mm: float
                 ) -> None:
        self.fit, self.px_per_mm = fit, px_per_mm
        scale = fit.scale
        ends = scale.lowest_mark.height_mm, scale.highest_mark.height_mm
        self.foot_mm, self.middle_mm = min(ends), 0.5 * sum(ends)
        self.grid = whole_grid(*ends)
        self.looked_at = [(rgb, view(rgb, fit.pose, self.grid, px_per_mm)) for rgb in pictures]
        self.rgb, self.whole = self.looked_at[0]

    def candidates(self, near_mm: float | None) -> tuple[list[RowPeak], float, float]:
        """Places of the row network, likeliest first, its belief in no surface in sight, and that
        in rims of the bore's steps, which are left out."""
        scale, pose, grid = self.fit.scale, self.fit.pose, self.grid
        told = [row_probability(
            whole, self.elevation_deg(self.middle_mm),
            scale.inner_radius_mm(scale.value_at(self.middle_mm)), grid.step_mm)
            for _, whole in self.looked_at]
        p = np.mean([rows for rows, _ in told], axis=0)
        p_absent = float(np.mean([absent for _, absent in told]))
        if near_mm is not None:
            p = np.where(np.abs(grid.height_mm - near_mm) < 5.0, p + 1e-6, 0.0)
            p_absent *= 0.2
            p *= (1.0 - p_absent) / max(float(p.sum()), 1e-12)
        found = peaks(p, grid)
        at_step = _at_steps(scale, pose, np.array([peak.height_mm for peak in found]))
        both = list(zip(found, at_step, strict=True))
        return ([peak for peak, rim in both if not rim], p_absent,
                sum(peak.weight for peak, rim in both if rim))

    def at_back_rim(self, height_mm: float) -> bool:
        """Whether the back of a step's rim may be seen at a height of the wall."""
        return bool(_at_steps(self.fit.scale, self.fit.pose, np.array([height_mm]), backs=True)[0])

    def elevation_deg(self, height_mm: float) -> float:
        """What the networks are told of the sight line to a height of the wall."""
        return self.side * math.degrees(float(self.fit.pose.elevation_rad(height_mm)))

    def other_side_nats(self, places: list[MeniscusCandidate]) -> float:
        """How much better the networks understand the surface as one seen from the other side
        (log of the ratio of their beliefs; 0 where the two can hardly be told apart), or the most
        that it can still be, as soon as that is no more than ``OTHER_SIDE_NATS``.

        The disc of the surface shows its upper face to a camera above it, its lower one to a
        camera below: the picture of the surface knows what the marks say of the view.
        """
        if min(abs(self.elevation_deg(q.height_mm)) for q in places) < OTHER_SIDE_DEG:
            return 0.0
        belief = max(sum(q.weight * q.look.odds for q in places), _NO_BELIEF)
        enough = belief * math.exp(OTHER_SIDE_NATS)
        if enough >= MOST_ODDS:  # as for most surfaces that show well: no need to ask
            return math.log(MOST_ODDS / belief)
        other = copy(self)
        other.side = -self.side
        there = other.candidates(None)[0][:len(places)]
        other_belief, unasked = 0.0, sum(q.weight for q in there)
        for q in there:
            if other_belief + unasked * MOST_ODDS <= enough:
                break
            unasked -= q.weight
            least = (enough - other_belief - unasked * MOST_ODDS) / q.weight
            other_belief += q.weight * other.offset_at(q.height_mm, least).odds
        return math.log(max(other_belief + unasked * MOST_ODDS, _NO_BELIEF) / belief)

    def bore(self, height_mm: float) -> tuple[float, float]:
        """Radius of the bore and thickness of the wall at a height."""
        scale = self.fit.scale
        value = float(scale.value_at(height_mm - 0.5))
        return scale.inner_radius_mm(value), scale.wall_at_mm(value)

    def measure(self, candidate: RowPeak) -> MeniscusCandidate:
        """What is at a candidate: its contact line, and the offset network's word.

        The offset network was taught with places as far off as the row network errs, and finds
        its own way from there; the clearest line near may be the back edge, which in a steep view
        runs just beside the front one, and only tells how sharply the edge is seen.
        """
        fit, about = self.fit, candidate.height_mm
        line = find_contact_line(self.rgb, fit.pose, fit.scale, fit.core_rad,
                                 fit.long_rad, about, _LINE_REACH_MM, self.px_per_mm)
        return MeniscusCandidate(about, candidate.weight, line, self.offset_at(about))

    def rival_line(self, place: MeniscusCandidate) -> MeniscusCandidate | None:
        """A line close beside a place that the offset network takes as well for the front edge,
        where it reads another level; None when there is none.

        Seen from above or below, the back edge and what is mirrored in the surface are
        lines just beside the front one; noise can make one of them the row network's only place.
        """
        pose, scale = self.fit.pose, self.fit.scale
        if abs(math.degrees(float(pose.elevation_rad(place.height_mm)))) < HARD_ELEVATION_DEG:
            return None
        here = self._value(place.height_mm, place.look)
        for aside_mm in _BESIDE_MM:
            about = place.height_mm + aside_mm
            look = self.offset_at(about, _AS_WELL * place.look.odds)
            if look.odds > _AS_WELL * place.look.odds and (
                    abs(self._value(about, look) - here) > scale.division_at(here)):
                return MeniscusCandidate(about, place.weight, None, look)
        return None

    def plainer_place(self, places: list[MeniscusCandidate], odds: float
                      ) -> MeniscusCandidate | None:
        """A place elsewhere on the tube that the offset network sooner takes for the front edge
        than those, of which the best has these odds; None when there is none.

        The row network chooses among all heights at once and proposes only what it believes in.
        What stands behind the chamber, seen through the liquid, can win there; where the other
        network finds such a place unlike a surface, it is asked for the rest of the tube, too.
        """
        low, high = self.foot_mm, 2 * self.middle_mm - self.foot_mm
        z = np.arange(low, high + _SCAN_MM, _SCAN_MM)
        z = z[~_at_steps(self.fit.scale, self.fit.pose, z)]
        away = np.abs(z[:, None] - [q.height_mm for q in places]).min(axis=1) > AWAY_MM
        least = max(odds, PLAIN_ODDS)
        best: MeniscusCandidate | None = None
        for height in map(float, z[away]):
            if self._glance(height) > least:
                look = self.offset_at(height)
                if look.odds > (least if best is None else best.look.odds):
                    best = MeniscusCandidate(height, 0.0, None, look)
        return best

    def _glance(self, height_mm: float) -> float:
        """The odds of a place by a single look."""
        return self._asked(self._close(height_mm)[-1], height_mm,
                           self.elevation_deg(height_mm)).odds

    def _close(self, height_mm: float) -> list[CloseLook]:
        """A place as the offset network sees it, in each picture that is looked at."""
        grid = window_grid(height_mm)
        return [close_look(view(rgb, self.fit.pose, grid, self.px_per_mm), whole)
                for rgb, whole in self.looked_at]

    def _asked(self, close: CloseLook, height_mm: float, elevation_deg: float) -> OffsetPosterior:
        """What the offset network says of it, if it is seen from that elevation."""
        radius, wall = self.bore(height_mm)
        return offset_posterior(close, elevation_deg, radius, wall, height_mm - self.foot_mm,
                                self.px_per_mm)

    def wall_shift_mm(self, centre_mm: float) -> float:
        """How far the wall's refraction moves a height of the inner wall in the picture."""
        elevation = math.degrees(float(self.fit.pose.elevation_rad(centre_mm)))
        return float(apparent_height_shift_mm(elevation, 0.0, self.bore(centre_mm)[1],
                                              WALL_INDEX))

    def mode(self, place: MeniscusCandidate, weight: float) -> LevelMode:
        """What the level is if the front edge is at this place."""
        level = place.height_mm - (BIN_CENTRES_MM + self.wall_shift_mm(place.height_mm))
        return LevelMode(weight, level, _above_floor(place.look.probability, level,
                                                     self.fit.scale))

    def _value(self, centre_mm: float, look: OffsetPosterior) -> float:
        """Mean value that the offset network reads around a height."""
        return float(self.fit.scale.value_at(
            centre_mm - look.mean_mm - self.wall_shift_mm(centre_mm)))

    def offset_at(self, centre_mm: float, least_odds: float = 0.0) -> OffsetPosterior:
        """The offset network's word on one height of the wall.

        Asked for the picture and for its mirror image: what the two say differs by the network's
        own error alone, and their mean has less of it (docs/teaching.md).  Where the sight
        line is poorly known (no focal length, a steep view), its doubt goes through the network:
        two more elevations, so that all four have that mean and spread.
        As soon as the odds cannot reach ``least_odds`` any more, that is all that is told: they
        are then the most that they could have been.
        """
        elevation = self.elevation_deg(centre_mm)
        doubt = self.fit.pose.elevation_sd_deg(centre_mm)
        ways: list[tuple[float, CloseLook]] = []
        for close in self._close(centre_mm):
            other = mirrored(close)
            ways += [(elevation, close), (elevation, other)]
            if doubt >= _DOUBT_DEG:
                apart = math.sqrt(2.0) * doubt
                ways += [(elevation - apart, close), (elevation + apart, other)]
        looks: list[OffsetPosterior] = []
        log_odds = [math.log(MOST_ODDS)] * len(ways)
        for k, (e, way) in enumerate(ways):
            looks.append(self._asked(way, centre_mm, e))
            log_odds[k] = math.log(looks[k].odds)
            if math.exp(float(np.mean(log_odds))) < least_odds:
                break
        return OffsetPosterior(np.mean([k.probability for k in looks], axis=0),
                               float(np.exp(np.mean(log_odds))), any(k.hidden for k in looks))


def _above_floor(q: np.ndarray, level_mm: np.ndarray, scale: Scale) -> np.ndarray:
    """The probability without levels of less than no liquid at all."""
    value, floor = scale.height_knots[0]
    if value != 0.0:
        return q
    sign = 1.0 if scale.direction == "up" else -1.0
    left = np.where(sign * (level_mm - floor) >= 0.0, q, 0.0)
    return left / left.sum() if left.sum() > 0.02 else q


def posterior_weights(places: list[MeniscusCandidate], p_absent: float, *, by_look: bool = True
                      ) -> list[tuple[float, MeniscusCandidate]]:
    """The belief in each place, likeliest first: the row network's, times the offset network's
    odds.

    What the row network believes elsewhere stays as it is, so that a place of which the
    offset network knows nothing good can not win for want of others.  Without ``by_look`` the
    row network's belief alone counts.
    """
    rest = max(1.0 - sum(q.weight for q in places), p_absent, _UNTHOUGHT)
    weighed = sorted(((q.weight * (q.look.odds if by_look else 1.0), q) for q in places),
                     key=lambda m: -m[0])
    total = sum(w for w, _ in weighed) + rest
    kept: list[tuple[float, MeniscusCandidate]] = []
    for weight, place in weighed:
        same = next((k for k, (_, q) in enumerate(kept) if _one_reading(q, place)), None)
        if same is None:
            kept.append((weight / total, place))
        else:
            kept[same] = kept[same][0] + weight / total, kept[same][1]
    return sorted(kept, key=lambda m: -m[0])


def _one_reading(a: MeniscusCandidate, b: MeniscusCandidate) -> bool:
    """Whether the offset network reads the same level from both places."""
    if abs(a.height_mm - b.height_mm) > _SAME_WINDOW_MM:
        return False
    means, variances = [], []
    for place in (a, b):
        mean = place.look.mean_mm
        means.append(place.height_mm - mean)
        variances.append(float(BIN_CENTRES_MM**2 @ place.look.probability) - mean**2)
    return abs(means[0] - means[1]) < math.sqrt(max(sum(variances), 0.0))


def peaks(p: np.ndarray, grid: Grid) -> list[RowPeak]:
    """Places of the row network's belief, each with the belief around it."""
    left = p.copy()
    z = grid.height_mm
    found: list[RowPeak] = []
    while len(found) < 6:
        k = int(np.argmax(left))
        near = np.abs(z - z[k]) <= _SAME_MM
        mass = float(left[near].sum())
        if mass < 0.02:
            break
        centre = float((z[near] * left[near]).sum() / mass)
        found.append(RowPeak(centre, mass))
        left[near] = 0.0
    return found


def _at_steps(scale: Scale, pose: CylinderPose, height_mm: np.ndarray, *, backs: bool = False
              ) -> np.ndarray:
    """(Z,) True where a step of the bore is seen on the outer wall; with ``backs`` also up to the
    back of its rim, which stands 2 R tan e from its front where it is seen from an elevation e.

    The front of the rim is a level line like the surface itself, and on a slanting wall a surface
    climbs by nobody knows how much.  The belief in a place there is lost, not passed on: a surface
    at a step can not be told from it.  The back of the rim is told from a surface by the networks,
    but not always.
    """
    out = np.zeros(len(height_mm), dtype=bool)
    knots = scale.diameter_knots
    for (v0, d0), (v1, d1) in zip(knots[:-1], knots[1:], strict=True):
        low, high = sorted((float(scale.height_mm(v0)), float(scale.height_mm(v1))))
        # however finely a file divides it
        if abs(d1 - d0) < max(_LEAST_STEP_MM, _STEEP_BORE * (high - low)):
            continue
        wall = float(pose.radius_at_mm(np.array([low, high])).max()) - min(d0, d1) / 2
        e = float(pose.elevation_rad(0.5 * (low + high)))
        shift = float(apparent_height_shift_mm(math.degrees(e), 0.0, wall, WALL_INDEX))
        back = max(d0, d1) * math.tan(e) if backs else 0.0
        out |= (height_mm > low - 0.8 + min(shift, 0.0) + min(back, 0.0)) & (
            height_mm < high + 0.8 + max(shift, 0.0) + max(back, 0.0))
    return out

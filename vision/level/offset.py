"""Fourth stage: the offset with its interval by Monte Carlo, and its named parts.

Source: JCGM 101:2008 (propagation of distributions), with the parts reported as
in a JCGM 100 budget so that a reader sees which one to work on.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from vision.budget import BudgetTerm
from vision.level.facing import Facing, turned_ahead
from vision.level.fuse import FusedGravity, Placed, Scenario, on_ray
from vision.level.locate import LocatedCards
from vision.parameters import (
    LENS_SHARE,
    POINTER_TIP_MM,
    PRINT_SHARE,
    ZERO_CARD_MM,
)
from vision.vertical.cue import PlumbCue

SAMPLES, SAMPLES_ALONE = 6000, 2000
#: Parts of the budget below this are not worth a line, mm.
_LEAST_TERM_MM, _LEAST_TWO_WAYS_MM = 0.005, 0.05

#: Sources of doubt that are drawn alone for the budget: name, its note, key.
_ALONE = (
    ("card corners", "fit of the printed pattern to the pixels", "corners"),
    ("lens", "distortion that the phone left in", "lens"),
    ("printed size", f"{100 * PRINT_SHARE:.1f} % of the printed length, if the check ruler was"
     " measured", "size"),
    ("placing", "pointer at the landmark, card on the zero reference", "placing"),
    ("tap", "finger on the landmark", "tap"),
    ("stated depth", "depth difference between the two points", "depth"),
    ("direction of depth", "which way is square to the wall", "axis"),
)
_ALL = frozenset({"gravity", *(key for _, _, key in _ALONE)})


@dataclass(frozen=True)
class OffsetEstimate:
    """Height of the zero reference over the landmark, mm: median of the draws, the interval
    that holds 95 % of them, their standard deviation; ``budget`` in cm."""

    offset_mm: float
    interval_mm: tuple[float, float]
    standard_uncertainty_mm: float
    budget: tuple[BudgetTerm, ...]


@dataclass(frozen=True)
class _Chances:
    """What the draws need beside a scenario: how the room is turned, doubt of the lens (px), and
    the sources of doubt that are drawn."""

    facing: Facing | None
    lens_px: float
    on: Collection[str] = _ALL


def estimate_offset(cards: LocatedCards, fused: FusedGravity) -> OffsetEstimate:
    """Median, 95 % interval and budget of the offset over all scenarios, by their weights."""
    lens_px = LENS_SHARE * math.hypot(*cards.picture.working_size)
    rng = np.random.default_rng(20010)
    counts = rng.multinomial(SAMPLES, fused.weights)
    draws = np.concatenate([
        offsets_mm(s, int(n), rng, _Chances(fused.facing, lens_px))
        for s, n in zip(fused.scenarios, counts, strict=True) if n > 0])
    low, high = (float(v) for v in np.quantile(draws, (0.025, 0.975)))
    return OffsetEstimate(float(np.median(draws)), (low, high), float(np.std(draws)),
                          _budget(fused, lens_px))


def offsets_mm(s: Scenario, n: int, rng: np.random.Generator, chances: _Chances) -> np.ndarray:
    """(n,) heights of zero reference over landmark, mm, drawn for one scenario."""
    g, on = s.gravity, chances.on
    down = g.draw(n, rng) if "gravity" in on else np.broadcast_to(g.down, (n, 3))
    drawn = "axis" in on and chances.facing is not None
    turn = chances.facing.draw(n, rng) if drawn and chances.facing else s.turn_rad
    forward = turned_ahead(down, turn)
    lens = chances.lens_px / s.focal_px if "lens" in on else 0.0
    if s.zero.pose is not None:
        zero = _on_card(s.zero, n, rng, "corners" in on, lens)
        landmark = (_on_card(s.landmark, n, rng, "corners" in on, lens)
                    if s.landmark.pose is not None
                    else _by_depth(s.landmark, zero, forward, rng, lens, on, 1.0))
    else:
        landmark = _on_card(s.landmark, n, rng, "corners" in on, lens)
        zero = _by_depth(s.zero, landmark, forward, rng, lens, on, -1.0)
    offset = np.sum(down * (landmark - zero), axis=1)
    if "size" in on:
        offset = offset * (1.0 + rng.normal(0.0, PRINT_SHARE, n))
    if "placing" in on:
        tip = POINTER_TIP_MM if s.landmark.pose is not None else 0.0
        offset = offset + rng.normal(0.0, np.hypot(tip, ZERO_CARD_MM), n)
    return np.asarray(offset)


def _on_card(p: Placed, n: int, rng: np.random.Generator, corners: bool, lens: float
             ) -> np.ndarray:
    """(n, 3) draws of a point of a card."""
    assert p.pose is not None
    at = np.broadcast_to(p.pose.point(p.at_mm), (n, 3)).copy()
    if corners:
        d = rng.multivariate_normal(np.zeros(6), p.pose.covariance, n, method="cholesky")
        at += d[:, 3:] + np.cross(d[:, :3], p.pose.point(p.at_mm) - p.pose.centre_mm)
    if lens:
        at[:, :2] += rng.normal(0.0, lens, (n, 2)) * at[:, 2:3]
    return at


def _by_depth(p: Placed, other: np.ndarray, forward: np.ndarray, rng: np.random.Generator,
              lens: float, on: Collection[str], sign: float) -> np.ndarray:
    """(n, 3) draws of a tapped point whose depth is stated against another point (n, 3)."""
    n = len(other)
    ray = np.broadcast_to(np.asarray(p.ray), (n, 3)).copy()
    tap = p.ray_sd if "tap" in on else 0.0
    ray[:, :2] += rng.normal(0.0, 1.0, (n, 2)) * np.hypot(tap, lens)
    depth_sd = p.depth_sd_mm if "depth" in on else 0.0
    depth = p.depth_mm + depth_sd * rng.normal(0.0, 1.0, n)
    return on_ray(ray, depth, other, forward, sign)


def _budget(fused: FusedGravity, lens_px: float) -> tuple[BudgetTerm, ...]:
    """Each source alone, as a standard uncertainty in cm."""
    best, weights, offsets = fused.best, fused.weights, fused.offsets_mm
    zero, landmark = best.points_mm
    terms = [BudgetTerm(f"vertical: {cue.name}", best.gravity.share(i, landmark - zero) / 10, "cm",
                        f"{_plumb_words(cue)}, over the distance between the two points")
             for i, cue in enumerate(best.gravity.used)]
    if (leans := best.gravity.doubt(landmark - zero) / 10) > _LEAST_TERM_MM / 10:
        terms.append(BudgetTerm("vertical: something may lean", leans, "cm",
                                "what looks plumb may lean, or be something else"))
    for name, note, key in _ALONE:
        draws = offsets_mm(best, SAMPLES_ALONE, np.random.default_rng(20011),
                           _Chances(fused.facing, lens_px, {key}))
        if (sd := float(np.std(draws))) > _LEAST_TERM_MM:
            terms.append(BudgetTerm(name, sd / 10, "cm", note))
    focals = np.array([s.focal_px for s in fused.scenarios])
    groups = [focals == f for f in np.unique(focals) if weights[focals == f].sum() > 1e-6]
    between = _weighted_sd([np.average(offsets[g], weights=weights[g]) for g in groups],
                           [weights[g].sum() for g in groups])
    terms.append(BudgetTerm("focal length", between / 10, "cm", "how strongly the photo is zoomed"))
    rest = math.sqrt(max(_weighted_sd(offsets, weights)**2 - between**2, 0.0))
    if rest > _LEAST_TWO_WAYS_MM:
        terms.append(BudgetTerm("card seen two ways round", rest / 10, "cm",
                                "both tilts of a card fit the photo"))
    return tuple(terms)


def _plumb_words(cue: PlumbCue) -> str:
    if cue.direction is None:
        return "how far this may be off plumb"
    sd_deg = math.hypot(cue.direction_sd_deg, cue.sideways_deg)
    return f"the phone's own sensor, to {sd_deg:.2f} degrees"


def _weighted_sd(values: np.ndarray | list[float], weights: np.ndarray | list[float]) -> float:
    return float(np.sqrt(np.cov(values, aweights=weights, ddof=0))) if len(values) > 1 else 0.0

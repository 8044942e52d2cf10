"""Uncertainty of the level by Monte Carlo, and its named parts.

Source: JCGM 101:2008 (propagation of distributions), with the parts reported as
in a JCGM 100 budget so that a reader sees which one to work on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.budget import BudgetTerm
from vision.fiducials.pose import CardPose
from vision.vertical.fusion import Gravity

SAMPLES = 6000
#: Standard uncertainties that no photo shows.  Our assumptions.
PRINT_SCALE = 0.004          # printed size against nominal, checked with the ruler
POINTER_MM = 1.0             # tip against the landmark that it is held at, in height
ZERO_MM = 0.5                # card's centre against the zero reference, in height
LENS_PX_OF_DIAGONAL = 2e-4   # residual distortion, as a share of the picture's diagonal


@dataclass(frozen=True)
class Placed:
    """A point known through a card, or through a tap and a depth.

    Either ``pose`` with ``at_mm`` on it, or ``ray`` (3,) with z = 1 and the sd
    of the tap; then ``depth_mm`` is how much nearer to the phone it lies than
    the other point, square to the wall, with ``depth_sd_mm``.
    """

    pose: CardPose | None = None
    at_mm: tuple[float, float] = (0.0, 0.0)
    ray: np.ndarray | None = None
    ray_sd: float = 0.0
    depth_mm: float = 0.0
    depth_sd_mm: float = 0.0


@dataclass(frozen=True)
class Scenario:
    """One way to understand the photo, with its log weight."""

    log_weight: float
    focal_px: float
    gravity: Gravity
    zero: Placed
    landmark: Placed


@dataclass(frozen=True)
class Switches:
    """Which sources of doubt are drawn; all of them unless one is looked at alone."""

    gravity: bool = True
    corners: bool = True
    lens: bool = True
    size: bool = True
    placing: bool = True
    depth: bool = True
    tap: bool = True
    axis: bool = True


NOTHING = Switches(False, False, False, False, False, False, False, False)


def offsets_mm(s: Scenario, n: int, rng: np.random.Generator, axis_sd_rad: float,
               diagonal_px: float, on: Switches) -> np.ndarray:
    """(n,) heights of zero reference over landmark, mm, drawn for one scenario."""
    g = s.gravity
    down = np.broadcast_to(g.down, (n, 3))
    if on.gravity:
        tilt = rng.multivariate_normal(np.zeros(2), g.covariance, n)
        down = down + tilt @ g.basis.T
        down = down / np.linalg.norm(down, axis=1, keepdims=True)
    forward = np.array([0.0, 0.0, 1.0]) - down * down[:, 2:3]
    forward = forward / np.linalg.norm(forward, axis=1, keepdims=True)
    if on.axis:
        turn = rng.normal(0.0, axis_sd_rad, n)[:, None]
        forward = forward * np.cos(turn) + np.cross(down, forward) * np.sin(turn)
    lens = LENS_PX_OF_DIAGONAL * diagonal_px / s.focal_px if on.lens else 0.0
    tap = 1.0 if on.tap else 0.0
    depth = 1.0 if on.depth else 0.0
    zero, landmark = s.zero, s.landmark
    if zero.pose is not None:
        z = _on_card(zero, n, rng, on.corners, lens)
        other = (_on_card(landmark, n, rng, on.corners, lens) if landmark.pose is not None
                 else _by_depth(landmark, z, forward, n, rng, lens, tap, depth, 1.0))
    else:
        other = _on_card(landmark, n, rng, on.corners, lens)
        z = _by_depth(zero, other, forward, n, rng, lens, tap, depth, -1.0)
    offset = np.sum(down * (other - z), axis=1)
    if on.size:
        offset = offset * (1.0 + rng.normal(0.0, PRINT_SCALE, n))
    if on.placing:
        tip = POINTER_MM if landmark.pose is not None else 0.0
        offset = offset + rng.normal(0.0, np.hypot(tip, ZERO_MM), n)
    return np.asarray(offset)


def _on_card(p: Placed, n: int, rng: np.random.Generator, corners: bool, lens: float
             ) -> np.ndarray:
    """(n, 3) draws of a point of a card."""
    assert p.pose is not None
    arm = p.pose.point(p.at_mm) - p.pose.centre_mm
    at = np.broadcast_to(p.pose.point(p.at_mm), (n, 3)).copy()
    if corners:
        d = rng.multivariate_normal(np.zeros(6), p.pose.covariance, n, method="cholesky")
        at += d[:, 3:] + np.cross(d[:, :3], arm)
    if lens:
        at[:, :2] += rng.normal(0.0, lens, (n, 2)) * at[:, 2:3]
    return at


def _by_depth(p: Placed, other: np.ndarray, forward: np.ndarray, n: int,
              rng: np.random.Generator, lens: float, tap: float, depth: float, sign: float
              ) -> np.ndarray:
    """(n, 3) draws of a tapped point whose depth is stated against another point.

    The landmark lies ``depth_mm`` nearer to the phone than the zero reference;
    ``sign`` is +1 when the tapped point is the landmark, -1 when it is the zero.
    """
    assert p.ray is not None
    ray = np.broadcast_to(p.ray, (n, 3)).copy()
    ray[:, :2] += rng.normal(0.0, 1.0, (n, 2)) * np.hypot(p.ray_sd * tap, lens)
    d = p.depth_mm + depth * p.depth_sd_mm * rng.normal(0.0, 1.0, n)
    along = np.sum(forward * other, axis=1) - sign * d
    slope = np.sum(forward * ray, axis=1)
    t = along / np.maximum(slope, 0.05)
    return ray * np.maximum(t, 1.0)[:, None]


def draw(scenarios: list[Scenario], axis_sd_rad: float, diagonal_px: float,
         seed: int = 20010) -> np.ndarray:
    """Draws of the offset (mm) over all scenarios in proportion to their weights."""
    weights = normalised(scenarios)
    rng = np.random.default_rng(seed)
    counts = rng.multinomial(SAMPLES, weights)
    parts = [offsets_mm(s, int(n), rng, axis_sd_rad, diagonal_px, Switches())
             for s, n in zip(scenarios, counts, strict=True) if n > 0]
    return np.concatenate(parts)


def normalised(scenarios: list[Scenario]) -> np.ndarray:
    """Weights that add to 1."""
    logs = np.array([s.log_weight for s in scenarios])
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def budget_terms(scenarios: list[Scenario], axis_sd_rad: float, diagonal_px: float,
                 seed: int = 20011) -> tuple[BudgetTerm, ...]:
    """Each source alone, as a standard uncertainty in cm."""
    weights = normalised(scenarios)
    best = scenarios[int(np.argmax(weights))]
    terms: list[BudgetTerm] = []

    def alone(name: str, note: str, **on: bool) -> None:
        rng = np.random.default_rng(seed)
        switches = Switches(**{**NOTHING.__dict__, **on})
        sd = float(np.std(offsets_mm(best, 2000, rng, axis_sd_rad, diagonal_px, switches)))
        if sd > 0.005:
            terms.append(BudgetTerm(name, sd / 10, "cm", note))

    span = _middle(best, axis_sd_rad, diagonal_px)
    for i, (cue, _) in enumerate(best.gravity.gains):
        terms.append(BudgetTerm(
            f"vertical: {cue}", best.gravity.share(i, span) / 10, "cm",
            "how far this may be off plumb, over the distance between the two points"))
    alone("card corners", "fit of the printed pattern to the pixels", corners=True)
    alone("lens", "distortion that the phone left in", lens=True)
    alone("printed size", "0.4 % of the printed length, if the check ruler was measured", size=True)
    alone("placing", "pointer at the landmark, card on the zero reference", placing=True)
    alone("tap", "finger on the landmark", tap=True)
    alone("stated depth", "depth difference between the two points", depth=True)
    alone("direction of depth", "line of sight against square to the wall", axis=True)
    centres = np.array([float(np.mean(offsets_mm(
        s, 1, np.random.default_rng(seed), axis_sd_rad, diagonal_px, NOTHING)))
        for s in scenarios])
    for name, note, key in (
        ("focal length", "how strongly the photo is zoomed", [s.focal_px for s in scenarios]),
    ):
        groups = np.array(key)
        means, mass = [], []
        for value in np.unique(groups):
            inside = groups == value
            if weights[inside].sum() > 1e-6:
                means.append(np.average(centres[inside], weights=weights[inside]))
                mass.append(weights[inside].sum())
        between = float(np.sqrt(np.cov(means, aweights=mass, ddof=0))) if len(means) > 1 else 0.0
        terms.append(BudgetTerm(name, between / 10, "cm", note))
        total = float(np.sqrt(np.cov(centres, aweights=weights, ddof=0))) if len(centres) > 1 else 0
        rest = float(np.sqrt(max(total**2 - between**2, 0.0)))
        if rest > 0.05:
            terms.append(BudgetTerm("card seen two ways round", rest / 10, "cm",
                                    "both tilts of a card fit the photo"))
    return tuple(terms)


def _middle(s: Scenario, axis_sd_rad: float, diagonal_px: float) -> np.ndarray:
    """(3,) vector from the zero reference to the landmark, without any draw."""
    rng = np.random.default_rng(0)
    down = s.gravity.down
    forward = np.array([0.0, 0.0, 1.0]) - down * down[2]
    forward = (forward / np.linalg.norm(forward))[None, :]
    if s.zero.pose is not None:
        z = s.zero.pose.point(s.zero.at_mm)
        other = (s.landmark.pose.point(s.landmark.at_mm) if s.landmark.pose is not None
                 else _by_depth(s.landmark, z[None], forward, 1, rng, 0, 0, 0, 1.0)[0])
        return np.asarray(other - z)
    assert s.landmark.pose is not None
    other = s.landmark.pose.point(s.landmark.at_mm)
    return np.asarray(other - _by_depth(s.zero, other[None], forward, 1, rng, 0, 0, 0, -1.0)[0])


def points_of(s: Scenario) -> tuple[np.ndarray, np.ndarray]:
    """(3,) zero reference and (3,) landmark in the camera frame, mm."""
    vector = _middle(s, 0.0, 0.0)
    if s.zero.pose is not None:
        z = s.zero.pose.point(s.zero.at_mm)
        return z, z + vector
    assert s.landmark.pose is not None
    other = s.landmark.pose.point(s.landmark.at_mm)
    return other - vector, other

"""Third stage: gravity and the two points, under each way to understand the photo."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from vision.fiducials.cards import CardKind
from vision.fiducials.pose import CardPose
from vision.level.cues import GatheredCues, possible
from vision.level.facing import Facing, facing_of, turned_ahead
from vision.level.inputs import Point
from vision.level.locate import LocatedCards
from vision.parameters import (
    DEPTH_SD_MM,
    DEPTH_SHARE,
    LEVEL_TAP_SHARE,
    TWO_WAYS_MM,
    TWO_WAYS_P,
    UNKNOWN_DEPTH_SD_MM,
    WORST_CUES_CHI2,
)
from vision.vertical.fusion import Gravity, fuse


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
    """One way to understand the photo, with its log weight; ``turn_rad`` is how far to the right
    of the camera's axis square to the wall lies, for a stated depth."""

    log_weight: float
    focal_px: float
    gravity: Gravity
    zero: Placed
    landmark: Placed
    turn_rad: float = 0.0

    @cached_property
    def points_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """(3,) zero reference and (3,) landmark in the camera frame."""
        forward = turned_ahead(self.gravity.down, self.turn_rad)

        def placed(p: Placed, other: Placed, sign: float) -> np.ndarray:
            if p.pose is not None:
                return p.pose.point(p.at_mm)
            assert p.ray is not None and other.pose is not None
            return on_ray(p.ray, p.depth_mm, other.pose.point(other.at_mm), forward, sign)

        return placed(self.zero, self.landmark, -1.0), placed(self.landmark, self.zero, 1.0)

    @property
    def offset_mm(self) -> float:
        """Height of the zero reference over the landmark."""
        zero, landmark = self.points_mm
        return float(self.gravity.down @ (landmark - zero))


def on_ray(ray: np.ndarray, depth_mm: np.ndarray | float, other: np.ndarray,
           forward: np.ndarray, sign: float) -> np.ndarray:
    """(..., 3) point on a ``ray`` (..., 3) whose depth is stated against ``other`` (..., 3).

    The landmark lies ``depth_mm`` nearer to the phone than the zero reference, along
    ``forward`` (..., 3); ``sign`` is +1 when the point is the landmark, -1 when the zero.
    """
    along = np.sum(forward * other, axis=-1) - sign * depth_mm
    t = along / np.maximum(np.sum(forward * ray, axis=-1), 0.05)
    return np.asarray(ray * np.maximum(t, 1.0)[..., None])


@dataclass(frozen=True)
class FusedGravity:
    """Every way to understand the photo that leaves no direction open; ``facing`` where a depth
    is stated against a tapped point."""

    scenarios: tuple[Scenario, ...]
    facing: Facing | None = None

    @cached_property
    def weights(self) -> np.ndarray:
        """(S,) weights of the scenarios that add to 1."""
        logs = np.array([s.log_weight for s in self.scenarios])
        weights = np.exp(logs - logs.max())
        return np.asarray(weights / weights.sum())

    @property
    def best(self) -> Scenario:
        """The likeliest way."""
        return self.scenarios[int(np.argmax(self.weights))]

    @property
    def offsets_mm(self) -> np.ndarray:
        """(S,) offset under each."""
        return np.array([s.offset_mm for s in self.scenarios])

    @property
    def two_ways(self) -> bool:
        """True when a card could be seen two ways round and it matters by a millimetre."""
        by_focal: dict[float, float] = {}
        for s, w in zip(self.scenarios, self.weights, strict=True):
            by_focal[s.focal_px] = max(by_focal.get(s.focal_px, 0.0), float(w))
        mean = np.average(self.offsets_mm, weights=self.weights)
        spread = np.sqrt(np.average((self.offsets_mm - mean) ** 2, weights=self.weights))
        return bool(1.0 - sum(by_focal.values()) > TWO_WAYS_P and spread > TWO_WAYS_MM)


def fuse_cues(cards: LocatedCards, gathered: GatheredCues) -> FusedGravity | None:
    """Gravity from the cues for every focal length and pose; None when all leave it open."""
    scenarios = [s for guess in gathered.focals
                 for s in _scenarios(cards, gathered, guess.focal_px, guess.weight)]
    if not scenarios:
        return None
    fused, inputs = FusedGravity(tuple(scenarios)), cards.inputs
    if inputs.mode == "cards":
        return fused
    best = fused.best
    facing = facing_of(cards.picture.working_rgb, cards.camera(best.focal_px), best.gravity.down,
                       best.zero.pose, cards.zero(), inputs.zero.side_mm)
    return FusedGravity(tuple(replace(s, turn_rad=facing.turn_rad) for s in scenarios), facing)


def _scenarios(cards: LocatedCards, gathered: GatheredCues, focal_px: float, weight: float
               ) -> list[Scenario]:
    """Every way to read the cards at one focal length."""
    camera, inputs = cards.camera(focal_px), cards.inputs
    zero_seen, landmark_seen = cards.zero(), cards.landmark()
    zeros: list[CardPose | None] = [None]
    landmarks: list[CardPose | None] = [None]
    if zero_seen is not None:
        zeros = [*possible(cards.poses(zero_seen, camera))]
    if landmark_seen is not None and (inputs.landmark_px is None or zero_seen is None):
        landmarks = [*cards.poses(landmark_seen, camera)]
    out = []
    for zero in zeros:
        start = np.array([0.0, 1.0, 0.0]) if zero is None else -zero.rotation[:, 1]
        gravity = fuse(gathered.for_pose(zero), camera, start)
        if gravity is None:
            continue
        for landmark in landmarks:
            misfit = sum(p.misfit for p in (zero, landmark) if p is not None)
            # With the cues that were left out: they may speak against this pose.
            excess = min(gravity.excess, WORST_CUES_CHI2)
            out.append(Scenario(
                math.log(weight) - (misfit + excess) / 2, focal_px, gravity,
                _placed(cards, zero, inputs.zero, inputs.zero_px, camera),
                _placed(cards, landmark, inputs.landmark, inputs.landmark_px, camera)))
    return out


def _placed(cards: LocatedCards, pose: CardPose | None, kind: CardKind, tapped: Point | None,
            camera: np.ndarray) -> Placed:
    """How one of the two points is known."""
    if tapped is None:
        return Placed(pose=pose, at_mm=kind.reference_mm)
    x, y = cards.picture.to_working(tapped)
    ray = np.linalg.solve(camera, np.array([x, y, 1.0]))
    if pose is not None:
        # A tap on or beside a card lies in the card's plane.
        t = float(pose.rotation[:, 2] @ pose.centre_mm) / float(pose.rotation[:, 2] @ ray)
        local = pose.rotation.T @ (ray * t - pose.centre_mm)
        return Placed(pose=pose, at_mm=(float(local[0]), float(local[1])))
    depth = cards.inputs.depth_difference_mm
    sd = (UNKNOWN_DEPTH_SD_MM if depth is None
          else math.hypot(DEPTH_SD_MM, DEPTH_SHARE * depth))
    tap = LEVEL_TAP_SHARE * max(cards.picture.working_size) / camera[0, 0]
    return Placed(ray=ray, ray_sd=tap, depth_mm=depth or 0.0, depth_sd_mm=sd)

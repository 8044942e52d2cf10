"""How near the level could come in drawn rooms if every body were seen without any error.

    python -m vision.synthetic.bedside.at_best --count 4000 --seed 41

Bodies lean, and no photo shows by how much; a phone's sensor is off.  What is left when all of
them are known as far as a photo can show them at all, and weighed by how far they were drawn to
lean, bounds every way of reading: the offset is then a normal quantity about its mean, and of all
answers that mean lies within any distance of the truth with the greatest probability
(T. W. Anderson, Proc. Am. Math. Soc. 6, 1955, 170, from memory).

A pole's own axis shows (its sides converge), a panel's by the card on it.  A cord and the middle of
a tube are one line each: it lies in a plane with the lens, and how the body leans along that plane
is not to be seen.  They count where the photo shows what makes them a cord (its bob) and a chamber
(both of its ends).
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import dataclass

import numpy as np

from vision.parameters import POINTER_TIP_MM, PRINT_SHARE, ZERO_CARD_MM
from vision.synthetic.bedside.chamber import HANG_SD_DEG
from vision.synthetic.bedside.geometry import View, turn_y
from vision.synthetic.bedside.world import (
    PANEL_PITCH_SD_DEG,
    PANEL_ROLL_SD_DEG,
    POLE_LEAN_SD_DEG,
    World,
    random_world,
)

#: A cord is drawn plumb; a line that is known this well (deg) is known exactly.
_EXACT_DEG = 1e-4
#: The two level axes of a room: along the wall and out of it.
_LEVEL = np.ix_([0, 2], [0, 2])


@dataclass(frozen=True)
class AtBest:
    """Mean of the error's size and what 95 % of it lie below, mm, over rooms."""

    mean_mm: float
    p95_mm: float


def offset_sd_mm(world: World, phone_deg: float | None = None, hand: bool = False) -> float:
    """Standard deviation (mm) of the offset when every body of a room is seen without error.

    ``phone_deg`` is the standard deviation either way of the phone's own gravity, None where it
    tells nothing; ``hand`` adds what cards are printed and held with.
    """
    told = _told(world)
    if phone_deg is not None:
        told = told + np.eye(2) / phone_deg**2
    apart = (world.landmark_point - world.zero.centre)[[0, 2]]
    tilt_mm = math.radians(math.sqrt(float(apart @ np.linalg.solve(told, apart))))
    by_hand = (ZERO_CARD_MM, POINTER_TIP_MM, PRINT_SHARE * world.offset_mm) if hand else ()
    return math.hypot(tilt_mm, *by_hand)


def at_best(sd_mm: np.ndarray) -> AtBest:
    """Of normal errors with these standard deviations (N,), mm, each as often as the others."""
    from scipy.optimize import brentq
    from scipy.special import erf

    sd = np.asarray(sd_mm, dtype=float)
    p95 = brentq(lambda mm: float(erf(mm / (sd * math.sqrt(2))).mean()) - 0.95, 0.0,
                 10 * float(sd.max()))
    return AtBest(float(sd.mean()) * math.sqrt(2 / math.pi), float(p95))


def rooms_sd_mm(count: int, seed: int, phone_deg: float | None = None, hand: bool = False
                ) -> np.ndarray:
    """(count,) :func:`offset_sd_mm` of rooms with both cards, drawn but not painted."""
    return np.array([offset_sd_mm(random_world(np.random.default_rng([seed, i]), "cards"),
                                  phone_deg, hand) for i in range(count)])


def _told(world: World) -> np.ndarray:
    """(2, 2) what all bodies say of the two angles of the vertical, 1 / deg^2."""
    turn_deg = world.facts["panel_turn_deg"]
    assert isinstance(turn_deg, float)
    turned = turn_y(turn_deg)[_LEVEL]
    told = turned @ np.diag([1 / PANEL_ROLL_SD_DEG**2, 1 / PANEL_PITCH_SD_DEG**2]) @ turned.T
    if world.pole is not None:
        told = told + np.eye(2) / POLE_LEAN_SD_DEG**2
    tube, cord = world.chamber, world.cord
    if tube is not None and _shown(world.view, tube.foot, tube.foot + tube.length_mm * tube.axis):
        told = told + _line(world.view, tube.foot) / HANG_SD_DEG**2
    if cord is not None and _shown(world.view, cord[1], cord[1] - [0.0, 2 * cord[3], 0.0]):
        told = told + _line(world.view, cord[0]) / _EXACT_DEG**2
    return np.asarray(told)


def _shown(view: View, *points: np.ndarray) -> bool:
    """True when all points (3,) lie within the photo."""
    px = view.project(np.array(points))
    return bool((px >= 0).all() and (px <= [view.width - 1, view.height - 1]).all())


def _line(view: View, at: np.ndarray) -> np.ndarray:
    """(2, 2) projector on what an upright line through a point (3,) shows: its lean across the
    sight line."""
    across = np.cross(at - view.position, [0.0, 1.0, 0.0])[[0, 2]]
    across = across / np.linalg.norm(across)
    return np.outer(across, across)


def main(argv: list[str] | None = None) -> int:
    """Print a table."""
    parser = argparse.ArgumentParser(prog="python -m vision.synthetic.bedside.at_best")
    parser.add_argument("--count", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=41)
    args = parser.parse_args(argv)
    for hand in (False, True):
        for phone_deg in (None, 0.7, 0.35, 0.2):
            best = at_best(rooms_sd_mm(args.count, args.seed, phone_deg, hand))
            phone = "without a phone" if phone_deg is None else f"phone, {phone_deg} deg"
            sys.stdout.write(f"{phone:16} {'with' if hand else 'no'} errors of the hand:"
                             f" mean {best.mean_mm:.2f}, 95 % below {best.p95_mm:.2f} mm\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())

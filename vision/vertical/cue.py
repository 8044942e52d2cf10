"""Which straight lines of a photo may be trusted to be plumb, and how far.

Trusted are only things that hang or stand with the drainage system: a cord with
a free bob, the pole near the zero card, the panel that carries the zero card,
the chamber beside it, and the zero card itself.  Door frames, pictures, shelves and beds are not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.fiducials.pose import CardPose
from vision.imaging.gravity import PhoneGravity
from vision.parameters import CHAMBER_PLUMB_SD_DEG, PHONE_GRAVITY_SD_DEG

CueName = Literal["hanging cord", "pole", "hung panel", "chamber axis", "zero card",
                  "phone sensor"]

#: How far each stands off plumb, one standard deviation, degrees: sideways in the
#: picture plane of the body and out of it.  Common practice, no source; facts of
#: the bedside that a photo cannot show.
TOLERANCE_DEG: dict[CueName, tuple[float, float]] = {
    "hanging cord": (0.1, 0.1),
    "pole": (0.5, 0.5),
    "hung panel": (0.5, 1.2),
    "chamber axis": CHAMBER_PLUMB_SD_DEG,
    "zero card": (0.8, 1.6),
    "phone sensor": (PHONE_GRAVITY_SD_DEG, PHONE_GRAVITY_SD_DEG),
}


@dataclass(frozen=True)
class PlumbCue:
    """One body that should be plumb.

    ``lines_px`` are the (2, 2) upper and lower points of its lines in the photo
    with ``line_sd_px`` across each; ``pose`` is given when the body carries the
    zero card, whose axes then count too.  ``direction`` (3,) is what a phone's sensor says of
    down in the photo's own camera frame, with ``direction_sd_deg`` for what differs from photo
    to photo.  ``elsewhere`` is the same body in other photos:
    how far it is off plumb is then one unknown for all of them.
    """

    name: CueName
    lines_px: tuple[np.ndarray, ...] = ()
    line_sd_px: tuple[float, ...] = ()
    pose: CardPose | None = None
    sideways_deg: float = 0.5
    outwards_deg: float = 0.5
    direction: np.ndarray | None = None
    direction_sd_deg: float = 0.0
    elsewhere: tuple[Elsewhere, ...] = ()


@dataclass(frozen=True)
class Elsewhere:
    """A body seen by another camera (3, 3): its ``cue`` in that photo, and the ``turn`` (3, 3)
    from the first camera's frame to the other's with the covariance (3, 3) of a small rotation
    vector in the other's frame, rad."""

    cue: PlumbCue
    camera: np.ndarray
    turn: np.ndarray
    turn_covariance: np.ndarray


@dataclass(frozen=True)
class RoughDown:
    """Where down is before the cues are fused: from the zero card alone.

    ``direction`` (3,) is a unit vector in the frame of ``camera`` (3, 3), good to
    ``sd_deg`` (one sigma) for the body that is looked for.
    """

    direction: np.ndarray
    sd_deg: float
    camera: np.ndarray

    @property
    def vanishing(self) -> np.ndarray:
        """(3,) homogeneous pixel where verticals meet."""
        return np.asarray(self.camera @ self.direction)


def cue_of(name: CueName, lines: list[tuple[np.ndarray, float]], pose: CardPose | None = None,
         widen: float = 1.0) -> PlumbCue:
    """A cue with its usual tolerance, made wider by a factor where it is less sure."""
    side, out = TOLERANCE_DEG[name]
    return PlumbCue(name, tuple(p for p, _ in lines), tuple(s for _, s in lines), pose,
                    side * widen, out * widen)


def phone_cue(gravity: PhoneGravity) -> PlumbCue:
    """What the phone's own sensor says, as a cue: half its variance is the phone's own bias,
    the same in all of its photos."""
    half = gravity.sd_deg / math.sqrt(2)
    return PlumbCue("phone sensor", direction=np.array(gravity.down), direction_sd_deg=half,
                    sideways_deg=half, outwards_deg=half)


def line_plane(ends_px: np.ndarray, camera: np.ndarray) -> np.ndarray:
    """(3,) unit normal of the plane through the lens and a line of the photo."""
    rays = np.linalg.solve(camera, np.column_stack([ends_px, np.ones(2)]).T).T
    n = np.cross(rays[0], rays[1])
    return np.asarray(n / np.linalg.norm(n))


def meeting_axis(a_px: np.ndarray, b_px: np.ndarray, camera: np.ndarray) -> np.ndarray:
    """(3,) unit direction, either way, of two parallel lines seen as (2, 2) lines of the photo."""
    axis = np.cross(line_plane(a_px, camera), line_plane(b_px, camera))
    return np.asarray(axis / np.linalg.norm(axis))


def shared_y(a_px: np.ndarray, b_px: np.ndarray) -> np.ndarray:
    """(2,) heights between which two lines (2, 2), upper end first, both run."""
    return np.array([max(a_px[0, 1], b_px[0, 1]), min(a_px[1, 1], b_px[1, 1])])


def line_x(line_px: np.ndarray, y: np.ndarray | float) -> np.ndarray:
    """x at heights y on the line through two points (2, 2), which is never near horizontal."""
    (xa, ya), (xb, yb) = line_px
    return np.asarray(xa + (y - ya) * (xb - xa) / (yb - ya))


def pieces_of(height: int, piece_px: int, hidden: tuple[float, float] | None) -> list[int]:
    """First rows of pieces of a photo's height, without those that something covers from
    ``hidden[0]`` to ``hidden[1]``."""
    return [y for y in range(2, height - piece_px - 1, piece_px)
            if hidden is None or y + piece_px <= hidden[0] or y >= hidden[1]]

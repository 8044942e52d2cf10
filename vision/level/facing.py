"""Which way is square to the wall and the bed: the direction in which a depth is stated.

A camera only knows its own axis.  The room's level edges (bed, shelf, floor, window sill) run
along the wall or square to it, so those seen above and below the eye level say how the camera is
turned against them (the orientation of a room from its edges: J. M. Coughlan, A. L. Yuille,
Manhattan World, ICCV 1999, from memory).  Each edge is one of them or anything else, and all of
them together may mislead; what is known without any edge, that people stand about square and
that panels face them, is the prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.fiducials.cards import CardSeen
from vision.fiducials.pose import CardPose
from vision.parameters import (
    AXIS_SD_DEG,
    EDGES_MISLEAD_P,
    LEVEL_EDGE_SD_DEG,
    PANEL_FACES_SD_DEG,
    ROOM_EDGE_P,
    ROOM_SQUARE_SD_DEG,
)
from vision.vertical.cue import line_plane
from vision.vertical.line_segments import colour_planes, line_segments

#: Turns that are tried, deg.
TURNS_DEG = np.arange(-40.0, 40.25, 0.5)
#: Edges are looked for in a picture of this long side, and are at least so long in it, px; as many
#: px of edge count as one witness: the two edges of one mattress are one.  Our choice.
_SIDE_PX, _LEAST_PX, _WITNESS_PX = 1000, 40.0, 350.0
#: Edges within so much (deg) of the vertical say nothing of this, nor do those (mm, sideways and
#: up or down) about the zero card: its panel may be turned on its pole.  Our choice.
_UPRIGHT_DEG, _PANEL_MM = 20.0, (120.0, 330.0)


@dataclass(frozen=True)
class Facing:
    """How the room is turned against the camera's level axis: the probability (T,) of each of
    ``TURNS_DEG``, positive when square to the wall lies to the right of the sight line, and how
    many edges were looked at."""

    probability: np.ndarray
    edges: int

    @property
    def turn_rad(self) -> float:
        """The mean turn, rad."""
        return float(np.radians(self.probability @ TURNS_DEG))

    def draw(self, n: int, rng: np.random.Generator) -> np.ndarray:
        """(n,) turns, rad, drawn."""
        step = float(TURNS_DEG[1] - TURNS_DEG[0])
        return np.radians(rng.choice(TURNS_DEG, n, p=self.probability)
                          + rng.uniform(-step / 2, step / 2, n))


def level_axes(down: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(..., 3) level directions ahead and to the right of the camera, for (..., 3) unit vectors
    down."""
    ahead = np.array([0.0, 0.0, 1.0]) - down * down[..., 2:3]
    ahead = ahead / np.linalg.norm(ahead, axis=-1, keepdims=True)
    return np.asarray(ahead), np.cross(down, ahead)


def turned_ahead(down: np.ndarray, turn_rad: np.ndarray | float) -> np.ndarray:
    """(..., 3) level direction that lies ``turn_rad`` to the right of the camera's axis."""
    ahead, right = level_axes(down)
    turn = np.asarray(turn_rad)[..., None]
    return np.asarray(ahead * np.cos(turn) + right * np.sin(turn))


def facing_of(rgb: np.ndarray, camera: np.ndarray, down: np.ndarray, zero: CardPose | None,
              card: CardSeen | None, side_mm: float) -> Facing:
    """How the room is turned against the camera.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
    camera : (3, 3) array
        Pinhole camera of ``rgb``.
    down : (3,) array
        Unit vector down in the camera's frame.
    zero, card : CardPose and CardSeen, or None
        The zero card, where it is seen; ``side_mm`` is its side.
    """
    ahead, right = level_axes(down)
    log = -0.5 * (TURNS_DEG / AXIS_SD_DEG) ** 2
    if zero is not None:
        into = -zero.rotation[:, 2]
        panel = np.degrees(np.arctan2(into @ right, into @ ahead))
        log = log - 0.5 * ((TURNS_DEG - panel) / PANEL_FACES_SD_DEG) ** 2
    edges = _level_edges(rgb, camera @ down, card, side_mm)
    before, even = log, 1.0 / float(np.ptp(TURNS_DEG))
    for ends in edges:
        n = line_plane(ends, camera)
        across, along = float(n @ right), float(n @ ahead)
        turn = np.degrees(np.arctan(across / along)) if along else 90.0
        # An edge near the eye level looks the same whichever way it runs.
        sd = np.hypot(LEVEL_EDGE_SD_DEG / max(np.hypot(across, along), 1e-3), ROOM_SQUARE_SD_DEG)
        # Square to the wall is a quarter of a turn from along it.
        off = (TURNS_DEG - turn + 45.0) % 90.0 - 45.0
        told = np.exp(-0.5 * (off / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
        count = min(1.0, float(np.linalg.norm(ends[1] - ends[0])) / _witness(rgb))
        log = log + count * np.log(ROOM_EDGE_P * told + (1 - ROOM_EDGE_P) * even)
    told, prior = (np.exp(v - v.max()) for v in (log, before))
    return Facing((1 - EDGES_MISLEAD_P) * told / told.sum() + EDGES_MISLEAD_P * prior / prior.sum(),
                  len(edges))


def _witness(rgb: np.ndarray) -> float:
    return _WITNESS_PX * max(rgb.shape[:2]) / _SIDE_PX


def _level_edges(rgb: np.ndarray, vanishing: np.ndarray, card: CardSeen | None, side_mm: float
                 ) -> list[np.ndarray]:
    """(2, 2) edges of the photo, in its pixels, that are not upright nor the panel's."""
    import cv2

    shrink = min(1.0, _SIDE_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    out = []
    for x0, y0, x1, y1 in np.vstack([line_segments(plane) for plane in colour_planes(small)]):
        ends = (np.array([[x0, y0], [x1, y1]]) + 0.5) / shrink - 0.5
        along, middle = ends[1] - ends[0], ends.mean(axis=0)
        upright = vanishing[:2] - vanishing[2] * middle
        off = abs(along[0] * upright[1] - along[1] * upright[0])
        turned = off / max(np.linalg.norm(along) * np.linalg.norm(upright), 1e-9)
        if np.linalg.norm(along) * shrink < _LEAST_PX or turned < np.sin(np.radians(_UPRIGHT_DEG)):
            continue
        if card is not None and bool((np.abs(middle - card.centre_px)
                                      < np.array(_PANEL_MM) * card.side_px / side_mm).all()):
            continue
        out.append(ends)
    return out

"""Which way is square to the wall and the bed: the direction in which a depth is stated.

A camera only knows its own axis.  The room's level edges (bed, shelf, floor, window sill) run
along the wall or square to it, so those seen above and below the eye level say how the camera is
turned against them (the orientation of a room from its edges: J. M. Coughlan, A. L. Yuille,
Manhattan World, ICCV 1999, from memory).  An edge counts once, in however many colours it is seen,
and the less, the farther the sides that meet it are off plumb: a crooked picture's edges are level
no more than its sides are upright.  Each edge is one of them or anything else, and all of them
together may mislead; what is known without any edge, that people stand about square and that
panels face them, is the prior.
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
#: px of edge count as one witness.  Our choice.
_SIDE_PX, _LEAST_PX, _WITNESS_PX = 1000, 40.0, 200.0
#: An edge that lies on a longer one to so many px is the same edge, seen in another colour.  Our
#: choice.
_SAME_PX = 3.0
#: A side that ends so near an edge's end (px), is so long (px) and hangs so far off plumb (deg, and
#: so many pixels over its length) shows that the edge is not level either.  Our choice.
_CORNER_PX, _SIDE_LEAST_PX, _CROOKED_DEG, _CROOKED_PX = 9.0, 25.0, 1.2, 1.0
#: Edges within so much (deg) of the vertical say nothing of this, nor do those (mm, sideways and
#: up or down) about the zero card: its panel may be turned on its pole.  Our choice.
_UPRIGHT_DEG, _PANEL_MM = 20.0, (120.0, 330.0)


@dataclass(frozen=True)
class LevelEdge:
    """An edge of the photo that may be level: its ends (2, 2) in the photo's pixels, and by how
    much the sides that meet it are seen not to hang plumb."""

    ends_px: np.ndarray
    crooked_deg: float = 0.0


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
    for edge in edges:
        level = ROOM_EDGE_P * np.exp(_log_turns(edge, camera, ahead, right))
        length = float(np.linalg.norm(edge.ends_px[1] - edge.ends_px[0])) * _scale(rgb)
        count = min(1.0, length / _WITNESS_PX)
        log = log + count * np.log(level + (1 - ROOM_EDGE_P) * even)
    told, prior = (np.exp(v - v.max()) for v in (log, before))
    return Facing((1 - EDGES_MISLEAD_P) * told / told.sum() + EDGES_MISLEAD_P * prior / prior.sum(),
                  len(edges))


def _scale(rgb: np.ndarray) -> float:
    """Pixels of the picture in which edges are looked for, to one of the photo."""
    return min(1.0, _SIDE_PX / max(rgb.shape[:2]))


def _log_turns(edge: LevelEdge, camera: np.ndarray, ahead: np.ndarray, right: np.ndarray
               ) -> np.ndarray:
    """(T,) log density of the turns that a level edge leaves."""
    n = line_plane(edge.ends_px, camera)
    across, along = float(n @ right), float(n @ ahead)
    turn = np.degrees(np.arctan(across / along)) if along else 90.0
    # An edge near the eye level looks the same whichever way it runs.
    off_level = np.hypot(LEVEL_EDGE_SD_DEG, edge.crooked_deg)
    sd = np.hypot(off_level / max(np.hypot(across, along), 1e-3), ROOM_SQUARE_SD_DEG)
    # Square to the wall is a quarter of a turn from along it.
    off = (TURNS_DEG - turn + 45.0) % 90.0 - 45.0
    return np.asarray(-0.5 * (off / sd) ** 2 - np.log(sd * np.sqrt(2 * np.pi)))


def _distinct(edges: list[np.ndarray], scale: float) -> list[np.ndarray]:
    """Each edge (2, 2) once, the longest first: most are found in several colours."""
    out: list[np.ndarray] = []
    for ends in sorted(edges, key=lambda e: -float(np.linalg.norm(e[1] - e[0]))):
        if not any(_lies_on(ends, other, scale) for other in out):
            out.append(ends)
    return out


def _lies_on(ends: np.ndarray, other: np.ndarray, scale: float) -> bool:
    """True when at least half of an edge lies on another, longer one."""
    reach = float(np.linalg.norm(other[1] - other[0]))
    along = (other[1] - other[0]) / reach
    rel = ends - other[0]
    aside = np.abs(rel @ np.array([-along[1], along[0]])).max()
    start, stop = sorted(float(v) for v in rel @ along)
    shared = min(stop, reach) - max(start, 0.0)
    return bool(aside * scale < _SAME_PX and shared > 0.5 * (stop - start))


def _off_plumb_deg(ends: np.ndarray, vanishing: np.ndarray) -> float:
    """Angle (0 to 90) in the picture between an edge (2, 2) and what is plumb at its middle."""
    along = ends[1] - ends[0]
    plumb = vanishing[:2] - vanishing[2] * ends.mean(axis=0)
    cross, dot = along[0] * plumb[1] - along[1] * plumb[0], float(along @ plumb)
    return float(np.degrees(np.arctan2(abs(cross), abs(dot))))


def _crooked_deg(ends: np.ndarray, sides: list[np.ndarray], vanishing: np.ndarray, scale: float
                 ) -> float:
    """How far the longest upright side (2, 2) that meets an edge at its ends is off plumb, beyond
    what a straight one may seem to be; 0 where none meets it."""
    meeting = [side for side in sides
               if min(float(np.linalg.norm(a - b)) for a in side for b in ends) * scale
               < _CORNER_PX]
    if not meeting:
        return 0.0
    side = max(meeting, key=lambda s: float(np.linalg.norm(s[1] - s[0])))
    length = float(np.linalg.norm(side[1] - side[0])) * scale
    off = _off_plumb_deg(side, vanishing)
    return off if off > _CROOKED_DEG + np.degrees(_CROOKED_PX / length) else 0.0


def _level_edges(rgb: np.ndarray, vanishing: np.ndarray, card: CardSeen | None, side_mm: float
                 ) -> list[LevelEdge]:
    """Edges of the photo that may be level and are not the panel's."""
    import cv2

    shrink = _scale(rgb)
    small = cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    edges, sides = [], []
    for x0, y0, x1, y1 in np.vstack([line_segments(plane) for plane in colour_planes(small)]):
        ends = (np.array([[x0, y0], [x1, y1]]) + 0.5) / shrink - 0.5
        length = float(np.linalg.norm(ends[1] - ends[0])) * shrink
        if _off_plumb_deg(ends, vanishing) < _UPRIGHT_DEG:
            if length >= _SIDE_LEAST_PX:
                sides.append(ends)
            continue
        if length < _LEAST_PX:
            continue
        if card is not None and bool((np.abs(ends.mean(axis=0) - card.centre_px)
                                      < np.array(_PANEL_MM) * card.side_px / side_mm).all()):
            continue
        edges.append(ends)
    return [LevelEdge(ends, _crooked_deg(ends, sides, vanishing, shrink))
            for ends in _distinct(edges, shrink)]

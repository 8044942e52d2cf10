"""The hung panel that carries the zero card."""

from __future__ import annotations

import numpy as np

from vision.fiducials.cards import CardSeen
from vision.fiducials.pose import CardPose
from vision.parameters import (
    CARD_FLAT_DEG,
    CARD_FLAT_SIGMAS,
    CARD_SQUARE_DEG,
    CARD_TURNED_DEG,
    PANEL_LONG,
    PANEL_LONGEST_MM,
    PANEL_SIDE_MM,
)
from vision.vertical.cue import PlumbCue, cue_of, line_plane, meeting_axis
from vision.vertical.line_segments import StraightEdge
from vision.vertical.tone_steps import step_share

#: A side separates panel and wall along this much of the card's height, of its own length, and
#: of the other side's: a board is as long on the left as on the right.
_BESIDE, _ALONG, _AS_LONG = 0.6, 0.5, 0.7
#: A line that ends as near to the photo's border as this share of its height runs out of it.
_AT_BORDER = 0.03


def find_panel(rgb: np.ndarray, edges: list[StraightEdge], card: CardSeen, pose: CardPose,
               px_per_mm: float, camera: np.ndarray) -> tuple[PlumbCue | None, list[StraightEdge]]:
    """The panel that carries the zero card: its two sides and, if square to it, the card.

    ``rgb`` is (H, W, 3) uint8.  Also returns the edges used, so that no other cue takes
    them again.
    """
    top, low = float(card.corners_px[:, 1].min()), float(card.corners_px[:, 1].max())
    middle_y = (top + low) / 2
    reach = 0.5 * (low - top)
    beside: dict[int, list[StraightEdge]] = {}
    for sign in (-1, 1):
        beside[sign] = [
            e for e in edges
            if PANEL_SIDE_MM[0] < sign * off_mm(e, middle_y, card, px_per_mm) < PANEL_SIDE_MM[1]
            and e.sd_px < 0.5 and e.length_px > PANEL_LONG * card.side_px
            and _is_side(rgb, e, top - reach, low + reach, px_per_mm)
        ]
        beside[sign] = [e for e in beside[sign]
                        if not any(_better(o, e, middle_y) for o in beside[sign])]
    best: tuple[tuple[bool, float], StraightEdge, StraightEdge, float] | None = None
    for left in beside[-1]:
        for right in beside[1]:
            twist = _twist(left, right, pose, camera)
            width = float(right.x_at(middle_y) - left.x_at(middle_y))
            if twist is None or not _as_long(rgb, left, right, px_per_mm) or _endless(
                    rgb.shape[0], left, right, px_per_mm):
                continue
            key = (twist > CARD_SQUARE_DEG, width)
            if best is None or key < best[0]:
                best = (key, left, right, twist)
    if best is None:
        return None, []
    _, left, right, twist = best
    square = twist < CARD_SQUARE_DEG
    lines = [(e.ends_px, float(np.hypot(e.sd_px, 0.1))) for e in (left, right)]
    return cue_of("hung panel", lines, pose if square else None, 1.0 if square else 1.5), [
        left, right]


def _is_side(rgb: np.ndarray, e: StraightEdge, top: float, low: float, px_per_mm: float) -> bool:
    """True when an edge borders on something beside the card, from top to low.

    The detector loses a pale panel before a pale wall here and there; the tones on both
    sides of the line tell them apart all along.  A cable has the same on both sides.
    """
    beside = (_seen_between(e, top, low) > _BESIDE
              or step_share(rgb, e.ends_px, top, low, px_per_mm) > _BESIDE
              and e.ends_px[0, 1] < low and e.ends_px[1, 1] > top)
    return beside and _bordered(rgb, e, e, px_per_mm) > _ALONG


def _as_long(rgb: np.ndarray, left: StraightEdge, right: StraightEdge, px_per_mm: float) -> bool:
    """True when each side goes on for as long as the other one does.

    The side of a picture that hangs behind the panel ends sooner or later.
    """
    return all(_bordered(rgb, mine, other, px_per_mm) > _AS_LONG
               for mine, other in ((left, right), (right, left)))


def _endless(height: int, left: StraightEdge, right: StraightEdge, px_per_mm: float) -> bool:
    """True when a side is longer than a hung panel's and both end within the photo neither above
    nor below: what hangs has an end, and a door or a strip of wall looks the same otherwise."""
    margin = _AT_BORDER * height
    ends = np.array([left.ends_px[:, 1], right.ends_px[:, 1]])
    in_sight = ((ends > margin) & (ends < height - 1 - margin)).all(axis=0).any()
    return bool(not in_sight and np.ptp(ends, axis=1).max() > PANEL_LONGEST_MM * px_per_mm)


def _bordered(rgb: np.ndarray, e: StraightEdge, as_far_as: StraightEdge, px_per_mm: float
              ) -> float:
    """Share of the height of another edge along which this one parts two tones."""
    top, low = (float(y) for y in as_far_as.ends_px[:, 1])
    return step_share(rgb, e.ends_px, top, low, px_per_mm)


def _better(other: StraightEdge, edge: StraightEdge, y: float) -> bool:
    """True when ``other`` is the same side of the panel, seen further along."""
    return (other is not edge and abs(float(other.x_at(y) - edge.x_at(y))) < 3.0
            and other.seen_px > 1.1 * edge.seen_px)


def _twist(left: StraightEdge, right: StraightEdge, pose: CardPose, camera: np.ndarray
           ) -> float | None:
    """Degrees by which a card is turned on a panel with these sides.

    None when they cannot be the sides of a board on which the card lies flat.  How far it is turned
    is seen on each side where its line meets the card's plane, and not where both lines meet: on
    a panel seen from beside, what moves that place along the line of sight looks like a turn.
    """
    axis = meeting_axis(left.ends_px, right.ends_px, camera)
    x, y, z = pose.rotation.T
    axis *= np.sign(axis @ y)
    tilt = np.cross(z, y)
    noise = np.degrees(np.sqrt(tilt @ pose.covariance[:3, :3] @ tilt))
    gap = float(np.mean(right.ends_px[:, 0] - left.ends_px[:, 0]))
    length = min(left.length_px, right.length_px)
    sd = max(left.sd_px, right.sd_px)
    noise = np.hypot(noise, np.degrees(1.5 * sd / gap * camera[0, 0] / length))
    out_of_plane = abs(np.degrees(np.arcsin(np.clip(axis @ z, -1, 1))))
    on_it = [np.cross(z, line_plane(e.ends_px, camera)) for e in (left, right)]
    in_plane = abs(np.degrees(np.mean([np.arctan((d @ x) / (d @ y)) for d in on_it])))
    if out_of_plane > CARD_FLAT_DEG + CARD_FLAT_SIGMAS * noise or in_plane > CARD_TURNED_DEG:
        return None
    return float(in_plane)


def on_card(e: StraightEdge, card: CardSeen, px_per_mm: float) -> bool:
    """True for edges of the card itself, of its paper and of its shadow."""
    y = card.corners_px[:, 1]
    reach = 0.6 * card.side_px
    return bool(e.ends_px[0, 1] > y.min() - reach and e.ends_px[1, 1] < y.max() + reach
                and abs(off_mm(e, float(y.mean()), card, px_per_mm)) < 60)


def off_mm(e: StraightEdge, y: float, card: CardSeen, px_per_mm: float) -> float:
    return (float(e.x_at(y)) - float(card.centre_px[0])) / px_per_mm


def _seen_between(e: StraightEdge, top: float, low: float) -> float:
    """Share of the height from top to low along which the edge was really seen."""
    y0, y1 = e.ends_px[0, 1], e.ends_px[1, 1]
    total = 0.0
    for a, b in e.pieces:
        ya, yb = y0 + a * (y1 - y0), y0 + b * (y1 - y0)
        total += max(0.0, min(yb, low) - max(ya, top))
    return total / max(low - top, 1e-9)

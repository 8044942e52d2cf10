"""Which straight lines of a photo may be trusted to be plumb, and how far.

Trusted are only things that hang or stand with the drainage system: a cord with
a free bob, the pole near the zero card, the panel that carries the zero card,
and the zero card itself.  Door frames, pictures, shelves and beds are not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.card_pose import CardPose
from vision.cards import CardSeen
from vision.straight_edges import StraightEdge

CueName = Literal["hanging cord", "pole", "hung panel", "zero card", "chamber axis"]

#: How far each stands off plumb, one standard deviation, degrees: sideways in the
#: picture plane of the body and out of it.  Common practice, no source; facts of
#: the bedside that a photo cannot show.
TOLERANCE_DEG: dict[CueName, tuple[float, float]] = {
    "hanging cord": (0.1, 0.1),
    "pole": (0.5, 0.5),
    "hung panel": (0.5, 1.2),
    "zero card": (1.5, 2.5),
    "chamber axis": (0.7, 1.0),
}


#: Shading moves the seen edge of a round pole along its length by about this much.
_SHADING_PX = 0.4


@dataclass(frozen=True)
class PlumbCue:
    """One body that should be plumb.

    ``lines_px`` are the (2, 2) upper and lower points of its lines in the photo
    with ``line_sd_px`` across each; ``pose`` is given when the body carries the
    zero card, whose axes then count too.
    """

    name: CueName
    lines_px: tuple[np.ndarray, ...] = ()
    line_sd_px: tuple[float, ...] = ()
    pose: CardPose | None = None
    sideways_deg: float = 0.5
    outwards_deg: float = 0.5


def _cue(name: CueName, lines: list[tuple[np.ndarray, float]], pose: CardPose | None = None,
         widen: float = 1.0) -> PlumbCue:
    side, out = TOLERANCE_DEG[name]
    return PlumbCue(name, tuple(p for p, _ in lines), tuple(s for _, s in lines), pose,
                    side * widen, out * widen)


def find_cord(gray: np.ndarray, edges: list[StraightEdge], px_per_mm: float
              ) -> tuple[PlumbCue | None, list[StraightEdge]]:
    """A thin line with a free bob at its lower end, and the edges it took."""
    best: tuple[float, PlumbCue, list[StraightEdge]] | None = None
    for left in edges:
        for right in edges:
            if left.sign * right.sign != -1 or not _thin_pair(left, right, px_per_mm):
                continue
            line = (left.ends_px + right.ends_px) / 2
            y = np.array([max(left.ends_px[0, 1], right.ends_px[0, 1]),
                          min(left.ends_px[1, 1], right.ends_px[1, 1])])
            line = np.column_stack([(left.x_at(y) + right.x_at(y)) / 2, y])
            length = float(y[1] - y[0])
            sd = float(np.hypot(left.sd_px, right.sd_px) / 2)
            if best is not None and length < best[0]:
                continue
            width = float(np.mean(right.x_at(y) - left.x_at(y)))
            if _bob_below(gray, line, width, px_per_mm):
                best = (length, _cue("hanging cord", [(line, sd)]), [left, right])
    return (best[1], best[2]) if best else (None, [])


def _thin_pair(left: StraightEdge, right: StraightEdge, px_per_mm: float) -> bool:
    """Two edges that bound one thin line."""
    y0 = max(left.ends_px[0, 1], right.ends_px[0, 1])
    y1 = min(left.ends_px[1, 1], right.ends_px[1, 1])
    if y1 - y0 < max(80.0, 70 * px_per_mm) or y1 - y0 < 0.6 * max(left.length_px, right.length_px):
        return False
    gap = right.x_at(np.array([y0, y1])) - left.x_at(np.array([y0, y1]))
    limit = max(7.0, 8 * px_per_mm)
    return bool(gap.min() > 0.5 and gap.max() < limit and abs(gap[1] - gap[0]) < 2 + 0.3 * limit)


def _bob_below(gray: np.ndarray, line: np.ndarray, width: float, px_per_mm: float) -> bool:
    """True when the line ends in a blob that is wider than it and hangs free."""
    import cv2

    u = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    across = np.array([u[1], -u[0]])
    reach = max(12.0, 30 * px_per_mm)
    s = np.arange(-2 * width - 6, 2.6 * reach, 1.0)
    k = np.arange(-2 * reach, 2 * reach + 0.5, 0.5)
    xy = line[1] + s[:, None, None] * u + k[None, :, None] * across
    h, w = gray.shape
    inside = (xy[..., 0] >= 0) & (xy[..., 0] <= w - 1) & (xy[..., 1] >= 0) & (xy[..., 1] <= h - 1)
    grid = xy.astype(np.float32)
    value = cv2.remap(cv2.GaussianBlur(gray, (0, 0), 1.0), grid[..., 0], grid[..., 1],
                      cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(float)
    value[~inside] = np.nan
    with np.errstate(all="ignore"):
        import warnings

        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            side_a = np.nanmedian(value[:, k < -1.2 * reach], axis=1)
            side_b = np.nanmedian(value[:, k > 1.2 * reach], axis=1)
    ground = np.where(np.isfinite(side_a) & np.isfinite(side_b), (side_a + side_b) / 2,
                      np.where(np.isfinite(side_a), side_a, side_b))
    noise = 1.4826 * float(np.nanmedian(np.abs(value - ground[:, None])))
    differs = np.abs(value - ground[:, None]) > max(10.0, 4 * noise)
    differs &= inside
    middle = int(np.argmin(np.abs(k)))
    runs = [_run(row, middle) for row in differs]
    widths = np.array([(b - a) * 0.5 for a, b in runs])
    centres = np.array([(k[a] + k[min(b, len(k) - 1)]) / 2 if b > a else 0.0 for a, b in runs])
    wide = widths > max(2.2 * width, width + 4, 3 * px_per_mm)
    if not wide.any():
        return False
    start = int(np.argmax(wide))
    stop = start + int(np.argmin(np.append(wide[start:], False)))
    tall = stop - start
    broad = float(widths[start:stop].max())
    after = widths[stop + 3: stop + 3 + max(3, tall // 2)]
    # Round, on the line, not wider than a bob, with free space below.
    return bool(
        0.5 < tall / broad < 2.0 and broad < reach * 1.5
        and abs(float(np.median(centres[start:stop]))) < 0.25 * broad + 1
        and len(after) > 0 and float(np.median(after)) < 0.4 * broad
        and s[start] < 0.6 * reach
    )


def _run(row: np.ndarray, middle: int) -> tuple[int, int]:
    """The run of True that holds the middle, a few samples of play."""
    near = np.flatnonzero(row[max(0, middle - 4): middle + 5])
    if len(near) == 0:
        return (0, 0)
    at = max(0, middle - 4) + int(near[np.argmin(np.abs(near - 4))])
    a = b = at
    while a > 0 and row[a - 1]:
        a -= 1
    while b < len(row) and row[b]:
        b += 1
    return (a, b)


def find_pole(rgb: np.ndarray, edges: list[StraightEdge], card: CardSeen, down: np.ndarray,
              px_per_mm: float, camera: np.ndarray, hidden: tuple[float, float] | None
              ) -> PlumbCue | None:
    """The two sides of a pole that runs past the zero card (or one very long side).

    ``down`` (3,) is the rough downward direction in the camera frame: the sides
    of a real pole converge as that direction asks.  ``hidden`` is the (top,
    bottom) in pixels between which the panel covers the pole.
    """
    height = rgb.shape[0]
    centre = card.centre_px
    near = [
        e for e in edges
        if abs(float(e.x_at(centre[1])) - centre[0]) < 150 * px_per_mm
        and e.seen_px > 1.5 * card.side_px and e.sd_px < 0.4
        and not _on_card(e, card, px_per_mm)
    ]
    best: tuple[float, tuple[StraightEdge, ...]] | None = None
    for left in near:
        for right in near:
            if left is right or not _pole_pair(left, right, down, px_per_mm, camera, card):
                continue
            y = centre[1]
            # Both sides count; of nested pairs the outer one is the outline.
            score = left.seen_px + right.seen_px + 2 * float(right.x_at(y) - left.x_at(y))
            if best is None or score > best[0]:
                best = (score, (left, right))
    if best is None:
        long = [e for e in near if e.seen_px > 0.5 * height or (
            e.length_px > 0.8 * height and e.seen_px > 0.35 * height)]
        if not long:
            return None
        best = (0.0, (max(long, key=lambda e: e.seen_px),))
    lines = [(e.ends_px, float(np.hypot(e.sd_px, _SHADING_PX))) for e in best[1]]
    return _cue("pole", lines, widen=1.0 if len(lines) == 2 else 1.4)


def _pole_pair(left: StraightEdge, right: StraightEdge, down: np.ndarray, px_per_mm: float,
               camera: np.ndarray, card: CardSeen) -> bool:
    """Two edges that can be the outline of one pole."""
    y = np.array([max(left.ends_px[0, 1], right.ends_px[0, 1]),
                  min(left.ends_px[1, 1], right.ends_px[1, 1])])
    if y[1] - y[0] < 1.3 * card.side_px:
        return False
    gap = right.x_at(y) - left.x_at(y)
    if gap.min() < 7 * px_per_mm or gap.max() > 70 * px_per_mm:
        return False
    # How fast the gap may change along the pole, seen within some degrees of ``down``.
    a, b = line_plane(left.ends_px, camera), line_plane(right.ends_px, camera)
    axis = np.cross(a, b)
    axis /= np.linalg.norm(axis)
    off = float(np.degrees(np.arccos(np.clip(abs(axis @ down), -1, 1))))
    noise = np.degrees(0.3 / float(gap.mean()) * camera[0, 0] / max(float(y[1] - y[0]), 1.0))
    return bool(off < 6.0 + 2 * noise and noise < 8.0)


def find_panel(edges: list[StraightEdge], card: CardSeen, pose: CardPose, px_per_mm: float,
               camera: np.ndarray) -> tuple[PlumbCue | None, list[StraightEdge]]:
    """The panel that carries the zero card: its two sides and, if square to it, the card.

    Also returns the edges used, so that no other cue takes them again.
    """
    top, low = float(card.corners_px[:, 1].min()), float(card.corners_px[:, 1].max())
    middle_y = (top + low) / 2
    sides: list[StraightEdge] = []
    for sign in (-1, 1):
        beside = [
            e for e in edges
            if 36 < sign * _off(e, middle_y, card, px_per_mm) < 260 and e.sd_px < 0.5
            and e.length_px > 1.8 * card.side_px and _seen_between(e, top, low) > 0.5
        ]
        if beside:
            sides.append(min(beside, key=lambda e: abs(_off(e, middle_y, card, px_per_mm))))
    if len(sides) < 2:
        return None, []
    square = _square_to(sides, pose, camera)
    lines = [(e.ends_px, float(np.hypot(e.sd_px, 0.1))) for e in sides]
    return _cue("hung panel", lines, pose if square else None, 1.0 if square else 1.5), sides


def _on_card(e: StraightEdge, card: CardSeen, px_per_mm: float) -> bool:
    """True for edges of the card itself, of its paper and of its shadow."""
    y = card.corners_px[:, 1]
    reach = 0.6 * card.side_px
    return bool(e.ends_px[0, 1] > y.min() - reach and e.ends_px[1, 1] < y.max() + reach
                and abs(_off(e, float(y.mean()), card, px_per_mm)) < 60)


def _off(e: StraightEdge, y: float, card: CardSeen, px_per_mm: float) -> float:
    return (float(e.x_at(y)) - float(card.centre_px[0])) / px_per_mm


def _seen_between(e: StraightEdge, top: float, low: float) -> float:
    """Share of the height from top to low along which the edge was really seen."""
    y0, y1 = e.ends_px[0, 1], e.ends_px[1, 1]
    total = 0.0
    for a, b in e.pieces:
        ya, yb = y0 + a * (y1 - y0), y0 + b * (y1 - y0)
        total += max(0.0, min(yb, low) - max(ya, top))
    return total / max(low - top, 1e-9)


def _square_to(sides: list[StraightEdge], pose: CardPose, camera: np.ndarray) -> bool:
    """True when the card's own upright runs along the panel's sides."""
    for e in sides:
        plane = line_plane(e.ends_px, camera)
        y = pose.rotation[:, 1]
        spread = np.cross(y, plane)
        noise = np.sqrt(spread @ pose.covariance[:3, :3] @ spread)
        if abs(float(plane @ y)) > np.radians(1.2) + 2.5 * noise:
            return False
    return True


def line_plane(ends_px: np.ndarray, camera: np.ndarray) -> np.ndarray:
    """(3,) unit normal of the plane through the lens and a line of the photo."""
    rays = np.linalg.solve(camera, np.column_stack([ends_px, np.ones(2)]).T).T
    n = np.cross(rays[0], rays[1])
    return np.asarray(n / np.linalg.norm(n))


def plumb_cues(rgb: np.ndarray, edges: list[StraightEdge], card: CardSeen,
               pose: CardPose | None, side_mm: float, camera: np.ndarray) -> list[PlumbCue]:
    """Every cue that the photo offers.

    ``edges`` come from :func:`vision.straight_edges.upright_edges`; ``card`` is
    the zero card with its ``pose``, or the landmark card without one: then only a
    cord with its bob counts.  The bare zero card counts only when no panel is
    seen, and only when it hangs about upright in the photo.
    """
    import cv2

    gray = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    px_per_mm = card.side_px / side_mm
    cord, cord_edges = find_cord(gray, edges, px_per_mm)
    if pose is None:
        return [cord] if cord is not None else []
    down = -pose.rotation[:, 1]
    panel, panel_edges = find_panel(edges, card, pose, px_per_mm, camera)
    taken = cord_edges + panel_edges
    rest = [e for e in edges if not any(e is t for t in taken)]
    ends = [y for e in panel_edges for y in e.ends_px[:, 1]]
    margin = 0.15 * card.side_px
    hidden = (min(ends) - margin, max(ends) + margin) if ends else None
    pole = find_pole(rgb, rest, card, down, px_per_mm, camera, hidden)
    cues = [c for c in (cord, pole, panel) if c is not None]
    if panel is None and np.degrees(np.arcsin(min(1.0, abs(down[0])))) < 12.0:
        cues.append(_cue("zero card", [], pose))
    return cues

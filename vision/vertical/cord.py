"""The hanging cord: a thin line with a free bob at its lower end.

A cord may be a pixel or two wide, so only one of its sides may show up as an
edge.  Every long edge is therefore looked at across: a cord is a narrow valley
(or ridge) of light with the same thing on both sides, or, before a border, darker (or
brighter) than both; then only a bob that is round all the way round makes it one.
"""

from __future__ import annotations

import numpy as np

from vision.parameters import BOB_MM, CORD_LONG_MM, CORD_MM
from vision.robust import fit_linear, spread
from vision.true_intervals import true_intervals
from vision.vertical.bob import round_bob
from vision.vertical.cue import PlumbCue, cue_of, line_x
from vision.vertical.line_segments import StraightEdge

#: Two sides of one body are at most so far apart, mm, and end at the same height to this share
#: of their length.
_BODY_MM, _SAME_END = 60.0, 0.08
#: A border behind a cord moves its seen middle by this share of its width.
_PULLED = 0.2


def find_cord(gray: np.ndarray, edges: list[StraightEdge], px_per_mm: float
              ) -> tuple[PlumbCue | None, list[StraightEdge]]:
    """The longest cord with a bob, and the edges that lie on it.

    ``gray`` is (H, W) uint8, ``px_per_mm`` the scale about where the system hangs.
    """
    import cv2

    soft = cv2.GaussianBlur(gray, (0, 0), 0.8).astype(np.float32)
    tried: list[np.ndarray] = []
    for e in edges:
        if e.length_px < max(80.0, CORD_LONG_MM * px_per_mm) or e.seen_px < 0.75 * e.length_px:
            continue
        # A line may go on past the bob along something else, where the cord's own edge ends at it.
        if any(np.abs(line_x(t, e.ends_px[:, 1]) - e.ends_px[:, 0]).max() < 6
               and abs(t[1, 1] - e.ends_px[1, 1]) < BOB_MM * px_per_mm for t in tried):
            continue
        widest = max(5.0, CORD_MM * px_per_mm)
        found = _valley(soft, e.ends_px, widest)
        if found is None and e.length_px > 2 * max(80.0, CORD_LONG_MM * px_per_mm):
            # Its upper half may run along the border of something else.
            lower = np.array([e.ends_px.mean(axis=0), e.ends_px[1]])
            found = _valley(soft, lower, widest)
        alike = found is not None
        if found is None:
            found = _valley(soft, e.ends_px, widest, alike=False)
        if found is None:
            continue
        line, width, sd = found
        tried.append(line)
        bob = (alike and _bob_below(soft, line, width, px_per_mm)
               or round_bob(soft, line, width, px_per_mm))
        if bob and not _on_tube(soft, edges, e, px_per_mm):
            near = [o for o in edges
                    if np.abs(line_x(line, o.ends_px[:, 1]) - o.ends_px[:, 0]).max() < width + 6]
            return cue_of("hanging cord", [(line, sd)]), near
    return None, []


def _on_tube(soft: np.ndarray, edges: list[StraightEdge], e: StraightEdge, px_per_mm: float
             ) -> bool:
    """True when a line lies on a tube, whose foot sticks out as a bob does.

    Then another thin line beside it begins and ends where it does, or an edge on either side
    of it.  The side of a panel, which may be as long as the cord beside it, is neither.
    """
    y = e.ends_px[:, 1]
    beside = {-1: False, 1: False}
    for o in edges:
        off = o.x_at(y) - e.ends_px[:, 0]
        apart = float(np.abs(off).min())
        if not (CORD_MM * px_per_mm < apart < _BODY_MM * px_per_mm
                and np.abs(o.ends_px[:, 1] - y).max() < _SAME_END * e.length_px):
            continue
        if _valley(soft, o.ends_px, max(5.0, CORD_MM * px_per_mm)) is not None:
            return True
        beside[int(np.sign(off.sum()))] = True
    return all(beside.values())


def _across(soft: np.ndarray, line: np.ndarray, s: np.ndarray, k: np.ndarray
            ) -> tuple[np.ndarray, np.ndarray]:
    """Values (len(s), len(k)) at s px along from the line's upper end and k px across it.

    Values outside the picture are NaN.  Also returns the unit vector across.
    """
    import cv2

    u = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    across = np.array([u[1], -u[0]])
    xy = line[0] + s[:, None, None] * u + k[None, :, None] * across
    h, w = soft.shape
    grid = xy.astype(np.float32)
    value = cv2.remap(soft, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE).astype(float)
    outside = ((xy[..., 0] < 0) | (xy[..., 0] > w - 1) | (xy[..., 1] < 0)
               | (xy[..., 1] > h - 1))
    value[outside] = np.nan
    return value, across


def _valley(soft: np.ndarray, line: np.ndarray, widest: float, alike: bool = True
            ) -> tuple[np.ndarray, float, float] | None:
    """(line along the middle of a thin valley, its width in px, sd in px), else None.

    The same thing is on both sides of it, if ``alike``; else it may hang before a border, darker
    than both sides or brighter than both.
    """
    length = float(np.linalg.norm(line[1] - line[0]))
    parts = int(np.clip(length / 25, 5, 30))
    k = np.arange(-1.5 * widest - 4, 1.5 * widest + 4.1, 0.5)
    value, across = _across(soft, line, np.linspace(2, length - 2, parts * 8), k)
    profile = value.reshape(parts, 8, -1).mean(axis=1)
    whole = np.isfinite(profile).all(axis=1)  # not beyond the border of the picture
    if whole.sum() < max(5, 0.4 * parts):
        return None
    profile, at = profile[whole], ((np.arange(parts) + 0.5) / parts)[whole]
    parts = len(at)
    inner = np.flatnonzero(np.abs(k) < 0.6 * widest)
    total = profile.mean(axis=0)
    middle = int(inner[np.argmax(np.abs(total[inner] - np.median(total)))])
    dark = float(np.sign(np.median(total) - total[middle]))
    if not alike:
        ends = total[:6].mean(), total[-6:].mean()
        under, over = min(ends) - total[inner], total[inner] - max(ends)
        dark = 1.0 if under.max() > over.max() else -1.0
        middle = int(inner[np.argmax(under if dark > 0 else over)])
    places: list[float] = []
    centres: list[float] = []
    widths: list[float] = []
    for place, row in zip(at, profile, strict=True):
        low, high = k < k[middle] - 0.8 * widest, k > k[middle] + 0.8 * widest
        if low.sum() < 3 or high.sum() < 3:
            return None
        left, right = float(np.median(row[low])), float(np.median(row[high]))
        near = np.abs(k - k[middle]) < 0.8 * widest
        ground = (left + right) / 2 if alike else min(left, right) if dark > 0 else max(left, right)
        depth = dark * (ground - row[near])
        top = float(depth.max())
        # The same thing on both sides: no border of a frame, no reflection on a pole.
        if top < 6 or alike and abs(left - right) > 0.35 * top + 2:
            continue
        weight = np.maximum(depth - 0.5 * top, 0)
        places.append(place)
        centres.append(float((weight @ k[near]) / weight.sum()))
        widths.append(0.5 * float((depth > 0.5 * top).sum()))
    if len(centres) < 0.7 * parts:
        return None
    width = float(np.median(widths))
    off = np.array(centres) - np.median(centres)
    if width > widest or np.median(np.abs(off)) > 0.5 * width + 1.5:
        return None
    found = _middle_line(line, across, np.array(places), np.array(centres), width)
    if found is None or alike:
        return found
    # A border pulls at the middle of what hangs before it.
    return found[0], found[1], float(np.hypot(found[2], _PULLED * width))


def _middle_line(line: np.ndarray, across: np.ndarray, t: np.ndarray, centres: np.ndarray,
                 width: float) -> tuple[np.ndarray, float, float] | None:
    """The straight line through the valley's centres, at shares ``t`` of the length."""
    fit = fit_linear(np.column_stack([1 - t, t]), centres, loss="geman-mcclure", turn=2.5,
                     least_spread=0.05, rounds=5)
    if fit.spread > 0.5:
        return None
    moved = line + np.outer(fit.parameters, across)
    return moved, width, float(np.hypot(2 * fit.spread / np.sqrt(len(centres)), 0.05))


def _bob_below(soft: np.ndarray, line: np.ndarray, width: float, px_per_mm: float) -> bool:
    """True when the line ends in a blob that is wider than it and hangs free."""
    length = float(np.linalg.norm(line[1] - line[0]))
    reach = max(12.0, BOB_MM * px_per_mm)
    s = length + np.arange(-2 * width - 8, 3.6 * reach, 1.0)
    k = np.arange(-reach, reach + 0.5, 0.5)
    value, _ = _across(soft, line, s, k)
    inside = np.isfinite(value)
    left, right = _sides(value, k, reach)
    both = np.array([np.abs(np.nan_to_num(value - g[:, None], nan=0.0)) for g in (left, right)])
    own = np.where(k[None, :] < 0, both[0], both[1])
    # Beside a panel the bob differs from both sides and the wall between only from one;
    # on the line where wall and floor meet it may look like one of them.
    return any(_hangs(off, inside, s - length, k, width, reach, px_per_mm)
               for off in (own, both.min(axis=0)))


def _hangs(off: np.ndarray, inside: np.ndarray, s: np.ndarray, k: np.ndarray, width: float,
           reach: float, px_per_mm: float) -> bool:
    """True when ``off`` (difference from the ground) shows a thin line, a round blob, nothing."""
    edge = np.abs(k) > 0.5 * reach
    noise = float(spread(off[:, edge][inside[:, edge]])) if inside.any() else 0.0
    differs = (off > max(10.0, 4 * noise)) & inside
    middle = int(np.argmin(np.abs(k)))
    runs = [_run(row, middle) for row in differs]
    widths = np.array([(b - a) * 0.5 for a, b in runs])
    centres = np.array([(k[a] + k[min(b, len(k) - 1)]) / 2 if b > a else 0.0 for a, b in runs])
    wide = widths > max(2.2 * width, width + 4, 3 * px_per_mm)
    start = int(np.argmax(wide))
    if not wide.any() or start < 4 or float(np.median(widths[:start])) > 1.6 * width + 3:
        return False  # no bob, or the line lies on something broad, as a reflection does
    between = widths[:start][s[:start] > 0]
    if len(between) and float(np.mean(between > 0)) < 0.8:
        return False  # the line ended before; the blob is something else
    stop = start + int(np.argmin(np.append(wide[start:], False)))
    tall = stop - start
    broad = float(widths[start:stop].max())
    after = widths[stop + 3: stop + 3 + max(3, tall // 2)]
    below = widths[stop + 3: stop + 3 + max(8, tall)]
    if len(below) and float(np.mean((below > 0) & (below < 1.6 * width + 2))) > 0.7:
        return False  # the line goes on below: it passes behind the bob of another one
    widest = widths[start:stop] > 0.8 * broad
    if abs(float(np.median(centres[start:stop][widest]))) > 0.18 * broad + 1:
        return False  # on one side only: the line ends behind the border of something broad
    # Round, on the line, not broader than a bob, whole in the picture, with free space below.
    return bool(
        0.5 < tall / broad < 2.0 and broad < 1.2 * reach
        and abs(float(np.median(centres[start:stop]))) < 0.18 * broad + 1
        and len(after) > 0 and float(np.median(after)) < 0.4 * broad
        and inside[start: stop + 1, middle].all()
        and s[start] < 1.6 * reach
    )


def _sides(value: np.ndarray, k: np.ndarray, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """What lies behind: for each row the level on the left and on the right of the line."""
    sides = []
    for mask in (k < -0.55 * reach, k > 0.55 * reach):
        part = value[:, mask]
        seen = np.isfinite(part).sum(axis=1) > 3
        level = np.full(len(value), np.nan)
        level[seen] = [float(np.nanmedian(row)) for row in part[seen]]
        sides.append(level)
    left = np.where(np.isfinite(sides[0]), sides[0], sides[1])
    right = np.where(np.isfinite(sides[1]), sides[1], sides[0])
    return left, right


def _run(row: np.ndarray, middle: int) -> tuple[int, int]:
    """The run of True that holds the middle, a few samples of play."""
    runs = true_intervals(row).tolist()
    a, b = min(runs, key=lambda r: max(r[0] - middle, middle - r[1] + 1, 0), default=(0, 0))
    return (a, b) if a - 4 <= middle < b + 4 else (0, 0)

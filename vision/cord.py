"""The hanging cord: a thin line with a free bob at its lower end."""

from __future__ import annotations

import numpy as np

from vision.plumb_cue import PlumbCue, cue_of
from vision.straight_edges import StraightEdge


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
            if _alone(gray, line, width) and _bob_below(gray, line, width, px_per_mm):
                best = (length, cue_of("hanging cord", [(line, sd)]), [left, right])
    return (best[1], best[2]) if best else (None, [])


def _thin_pair(left: StraightEdge, right: StraightEdge, px_per_mm: float) -> bool:
    """Two edges that bound one thin line."""
    y0 = max(left.ends_px[0, 1], right.ends_px[0, 1])
    y1 = min(left.ends_px[1, 1], right.ends_px[1, 1])
    if y1 - y0 < max(80.0, 70 * px_per_mm) or y1 - y0 < 0.6 * max(left.length_px, right.length_px):
        return False
    if min(left.seen_px / left.length_px, right.seen_px / right.length_px) < 0.8:
        return False
    gap = right.x_at(np.array([y0, y1])) - left.x_at(np.array([y0, y1]))
    limit = max(7.0, 8 * px_per_mm)
    return bool(gap.min() > 0.5 and gap.max() < limit and abs(gap[1] - gap[0]) < 2 + 0.3 * limit)


def _alone(gray: np.ndarray, line: np.ndarray, width: float) -> bool:
    """True when the same thing lies on both sides: a line before a background.

    The border of a picture frame with its shadow, or a reflection on a pole, has
    different things on its two sides.
    """
    import cv2

    t = np.linspace(0.03, 0.97, 60)
    on = line[0] + t[:, None] * (line[1] - line[0])
    k = np.array([-2.0, -1.2, 0.0, 1.2, 2.0]) * max(width, 2.0) + np.array([-3, -2, 0, 2, 3])
    value = cv2.remap(gray, (on[:, :1] + k).astype(np.float32),
                      np.broadcast_to(on[:, 1:], (60, 5)).astype(np.float32), cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE).astype(float)
    left, right = value[:, :2].mean(axis=1), value[:, 3:].mean(axis=1)
    depth = np.abs(value[:, 2] - (left + right) / 2)
    return bool(np.mean(np.abs(left - right) < 0.35 * depth + 2) > 0.75)


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
        and inside[start: stop + 1, middle].all()
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

"""The axis of the graduated chamber that hangs beside the zero card.

A tube has two long edges a chamber's width apart.  So have picture frames, books,
cables and poles; what makes it a chamber are its marks: short strokes across, evenly
spaced, which end inside the edges.  Tubes are moulded with a draught, so that how the
edges converge says nothing; the line midway between them is the axis.
"""

from __future__ import annotations

import math

import numpy as np

from vision.fiducials.cards import CardSeen
from vision.parameters import (
    CHAMBER_ABOVE_MM,
    CHAMBER_BESIDE_MM,
    CHAMBER_DRAUGHT,
    CHAMBER_LONG_MM,
    CHAMBER_MARKS_MM,
    CHAMBER_MM,
)
from vision.vertical.cue import PlumbCue, cue_of, shared_y
from vision.vertical.line_segments import StraightEdge, parts
from vision.vertical.panel import off_mm

#: The closest marks that can be told apart, px.
_LEAST_PX = 3.0
#: One side may be seen further along than the other by this factor, and this much of the shorter
#: one lies beside the other.
_LONGER, _BESIDE_SHARE = 2.0, 0.7
#: Columns between the edges; so many spacings in view; the correlation of a row of marks with
#: itself one spacing on, and by how much less half a spacing on; their contrast, of 255.
_COLUMNS, _SPACINGS = 10, 6.0
_ALIKE, _BETWEEN, _CONTRAST = 0.55, 0.3, 1.5
#: An edge that goes on in line with another one is no further off it than this.
_IN_LINE_PX = 1.5
#: Light bent in a wall of uneven thickness moves a seen edge by about this much.
_BENT_PX = 0.2


def find_chamber(gray: np.ndarray, edges: list[StraightEdge], card: CardSeen, px_per_mm: float,
                 vanishing: np.ndarray) -> tuple[PlumbCue | None, list[StraightEdge]]:
    """The chamber near the zero card, and the edges that lie on it.

    ``gray`` is (H, W) uint8, ``px_per_mm`` the scale about where the card is and
    ``vanishing`` the (3,) homogeneous pixel where verticals meet.
    """
    y = float(card.centre_px[1])
    least, most = (mm * px_per_mm for mm in CHAMBER_LONG_MM)
    # A tube's side may lie in line with the pole's, the panel's or a door's; where both of its
    # sides do, it is the pole that is seen beyond a panel.
    cut = [part for e in edges if e.length_px >= most and _within_reach(e, card, px_per_mm)
           for part in parts(gray, e, least)]
    near = [e for e in [*edges, *cut]
            if e.sd_px < 0.4 and CHAMBER_LONG_MM[0] < e.length_px / px_per_mm < CHAMBER_LONG_MM[1]
            and abs(off_mm(e, float(e.ends_px[:, 1].mean()), card, px_per_mm)) < CHAMBER_BESIDE_MM
            and abs(float(e.ends_px[:, 1].mean()) - y) < CHAMBER_ABOVE_MM * px_per_mm]
    going_on = [e for e in near if any(e is c for c in cut) or any(_in_line(e, o) for o in edges)]
    pairs = [(a, b) for a in near for b in near if _two_sides(a, b, px_per_mm, vanishing)
             and not all(any(e is o for o in going_on) for e in (a, b))]
    # The best seen pair that has marks between; the tube's two sides mirror one another.
    pairs.sort(key=lambda p: (p[0].sign * p[1].sign == 1, -(p[0].seen_px + p[1].seen_px)))
    for a, b in pairs:
        if not _has_marks(gray, a, b, px_per_mm):
            continue
        ends = shared_y(a.ends_px, b.ends_px)
        middle = np.column_stack([(a.x_at(ends) + b.x_at(ends)) / 2, ends])
        sd = math.hypot(a.sd_px, b.sd_px) / 2 + _BENT_PX
        return cue_of("chamber axis", [(middle, sd)]), [e for e in edges if _lies_on(e, a, b)]
    return None, []


def _in_line(e: StraightEdge, other: StraightEdge) -> bool:
    """True when another edge lies above or below on the same line, within what either may be off
    there."""
    (top, low), (start, stop) = e.ends_px[:, 1], other.ends_px[:, 1]
    if e is other or start < low and stop > top or e.sign * other.sign == -1:
        return False
    y = np.array([start, stop])
    reach = np.abs(y - (top + low) / 2).max() / (low - top)
    off = np.abs(e.x_at(y) - other.ends_px[:, 0]).max()
    return bool(off < _IN_LINE_PX + 3.0 * math.hypot(e.sd_px * 2 * reach, other.sd_px))


def _within_reach(e: StraightEdge, card: CardSeen, px_per_mm: float) -> bool:
    """True when a line passes where a chamber may hang."""
    y = float(card.centre_px[1]) + np.array([-1, 1]) * CHAMBER_ABOVE_MM * px_per_mm
    y = np.clip(y, *e.ends_px[:, 1])
    return any(abs(off_mm(e, float(v), card, px_per_mm)) < CHAMBER_BESIDE_MM for v in y)


def _two_sides(a: StraightEdge, b: StraightEdge, px_per_mm: float, vanishing: np.ndarray) -> bool:
    """Left and right edge beside each other that can be the sides of one tube."""
    y = shared_y(a.ends_px, b.ends_px)
    short, long = sorted((a.length_px, b.length_px))
    if a is b or y[1] - y[0] < max(CHAMBER_LONG_MM[0] * px_per_mm, _BESIDE_SHARE * short) or (
            long > _LONGER * short):
        return False
    gap = b.x_at(y) - a.x_at(y)
    if gap.min() < CHAMBER_MM[0] * px_per_mm or gap.max() > CHAMBER_MM[1] * px_per_mm:
        return False
    # Verticals side by side are as far apart as they are far from where they meet.
    to = vanishing[1] - y * vanishing[2]
    noise = 2 * math.hypot(a.sd_px, b.sd_px) / float(gap.mean())
    return bool(abs(gap[1] / gap[0] - to[1] / to[0]) < CHAMBER_DRAUGHT + noise)


def _lies_on(e: StraightEdge, a: StraightEdge, b: StraightEdge) -> bool:
    """True for edges of the tube itself: outlines, gleams, ends of marks."""
    top, low = shared_y(a.ends_px, b.ends_px)
    y = np.clip(e.ends_px[:, 1], top, low)
    if y[1] - y[0] < 0.5 * (e.ends_px[1, 1] - e.ends_px[0, 1]):
        return False
    margin = 0.12 * (b.x_at(y) - a.x_at(y)) + 3
    return bool(np.all((e.x_at(y) > a.x_at(y) - margin) & (e.x_at(y) < b.x_at(y) + margin)))


def _has_marks(gray: np.ndarray, a: StraightEdge, b: StraightEdge, px_per_mm: float) -> bool:
    """True when evenly spaced strokes lie between two edges and not beside them too."""
    across = np.concatenate([(np.arange(_COLUMNS) + 0.5) / _COLUMNS, [-0.3, -0.2, 1.2, 1.3]])
    columns = _columns(gray, a, b, across)
    rough = columns - _smooth(columns, int(round(CHAMBER_MARKS_MM * px_per_mm)))
    inside = (rough[:, :_COLUMNS - 1] + rough[:, 1:_COLUMNS]) / 2  # two by two: less noise
    beside = (rough[:, _COLUMNS::2] + rough[:, _COLUMNS + 1::2]) / 2
    lags = np.arange(int(math.ceil(_LEAST_PX)) - 1,  # the closest has a neighbour on either side
                     int(min(CHAMBER_MARKS_MM * px_per_mm, len(rough) / _SPACINGS)) + 1)
    if len(lags) < 3:
        return False
    alike = np.array([_alike(inside, int(lag)) for lag in lags])  # (lags, columns)
    outside = np.array([_alike(beside, int(lag)) for lag in lags])
    contrast = inside.std(axis=0)
    contrast[[0, -1]] = 0.0  # the outlines themselves
    steps = [_grid_step(e) for e in (a, b)]
    for i in range(1, len(lags) - 1):
        lag = int(lags[i])
        if any(abs(lag - round(lag / step) * step) <= 1.0 for step in steps if step < lag + 2):
            continue  # a slanted edge on the pixels' grid
        half = np.array(_alike(inside, round(lag / 2)))
        peak = ((alike[i] >= alike[i - 1]) & (alike[i] >= alike[i + 1]) & (alike[i] > _ALIKE)
                & (half < alike[i] - _BETWEEN) & (contrast > _CONTRAST))
        # What goes on beside the edges is a blind or tiles, no marks on a tube.
        goes_on = (outside[i] > 0.5 * alike[i].max()) & (
            beside.std(axis=0) > 0.5 * contrast.max())
        # Two columns beside one another: they are wider than a grain of noise.
        if (peak[1:] & peak[:-1]).any() and not goes_on.any():
            return True
    return False


def _grid_step(e: StraightEdge) -> float:
    """After how many rows an edge has moved by one pixel: then it looks the same again."""
    d = np.abs(e.direction)
    return float(d[1] / max(d[0], 1e-6))


def _columns(gray: np.ndarray, a: StraightEdge, b: StraightEdge, across: np.ndarray
             ) -> np.ndarray:
    """(n, len(across)) light along the tube, a row each px, at shares of the way from a to b."""
    import cv2

    top, low = shared_y(a.ends_px, b.ends_px)
    y = np.arange(top + 2, low - 2)
    left, right = a.x_at(y), b.x_at(y)
    middle, half = (left + right) / 2, (right - left) / 2
    # Marks are square to the axis, not level in the photo.
    slope = (middle[-1] - middle[0]) / (y[-1] - y[0])
    off = (2 * across - 1) * half[:, None]
    # Each column is the mean over its own width, a tenth of the gap.
    fine = off[..., None] + np.linspace(-0.4, 0.4, 5) * 2 * half[:, None, None] / _COLUMNS
    xs = middle[:, None, None] + fine
    ys = y[:, None, None] - slope * fine
    n, m, k = xs.shape
    value = cv2.remap(gray, xs.reshape(n, m * k).astype(np.float32),
                      ys.reshape(n, m * k).astype(np.float32), cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(value.astype(float).reshape(n, m, k).mean(axis=2))


def _smooth(columns: np.ndarray, n: int) -> np.ndarray:
    """Median of each column over ``n`` rows about each row."""
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(columns, size=(max(n, 3), 1), mode="nearest"))


def _alike(columns: np.ndarray, lag: int) -> list[float]:
    """For each column the correlation with itself ``lag`` rows on."""
    first, second = columns[lag:], columns[:-lag]
    first, second = first - first.mean(axis=0), second - second.mean(axis=0)
    size = np.sqrt((first**2).sum(axis=0) * (second**2).sum(axis=0))
    return list((first * second).sum(axis=0) / np.maximum(size, 1e-9))

"""A row of marks numbered by a person: which stroke is which value, and the map they make.

Two or more marks have typed values.  Each chain of strokes that passes a typed mark
is counted from there; all of them together give one projective map along the row,
which numbers the chains between.  A clamp, a finger or a label may hide the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.graduations.projective_row import fit_1d, project_1d, slope_1d
from vision.graduations.ridges import Strokes, find_strokes
from vision.graduations.rows import Chain, find_chains
from vision.imaging.photo import scaled_points
from vision.robust import fit_linear, spread
from vision.scale_file.scale import Scale

Typed = tuple[float, tuple[float, float]]

#: A typed mark may lie so far from a counted stroke, in divisions.
_ON_A_MARK = 0.38
#: A stroke belongs to a mark within this share of the distance to its neighbours.
_BELONGS = 0.25
#: Typed points lie on their marks to about this, px of the picture searched.
_TYPED_PX = 2.0
#: How much the slope of a mark may change from the row to beside it.
_SIDE_SLOPE_FLAT, _SIDE_SLOPE_ROUND = 0.02, 0.08
_SEARCH_PIXELS = 2_000_000
#: Sizes of stroke looked for, px of the picture searched.
_SIGMAS_PX = (1.0, 1.6)


@dataclass(frozen=True)
class NumberedRow:
    """Marks found on a row and the map from height to place.

    ``mark`` (M,) are indices of the scale's marks, sorted, ``place_px`` (M, 2) where
    each crosses the row; ``abc`` maps height (mm) to picture height y along the row's
    line x = ``column[0]`` + ``column[1]`` y; ``slope`` = (dy/dx at y = 0, its change
    per px of y) is that of the marks from the row towards the typed points.
    ``spread_px`` is the scatter of the marks round the map, ``typed_px`` that of the
    typed points.
    """

    scale: Scale
    mark: np.ndarray
    place_px: np.ndarray
    abc: np.ndarray
    column: tuple[float, float]
    slope: tuple[float, float]
    spread_px: float
    typed_px: float

    def on_row(self, point: tuple[float, float]) -> float:
        """y where the mark through ``point`` crosses the row."""
        x, y = point
        for _ in range(3):
            away = point[0] - self.column[0] - self.column[1] * y
            y = point[1] - (self.slope[0] + self.slope[1] * y) * away
        return float(y)

    def height_mm(self, point: tuple[float, float]) -> float:
        """Height on the scale at a point of the picture."""
        a, b, c = self.abc
        y = self.on_row(point)
        return float((y - b) / (a - c * y))

    def px_per_mm(self, height_mm: float) -> float:
        """Pixels in a millimetre at that height."""
        return float(abs(slope_1d(self.abc, np.array([height_mm]))[0]))

    def sd_px(self, height_mm: float) -> float:
        """Standard uncertainty of the map at a height, px, marks placed independently."""
        z = np.array([self.scale.marks[i].height_mm for i in self.mark])
        far = (height_mm - z.mean()) ** 2 / max(float(((z - z.mean()) ** 2).sum()), 1e-9)
        return max(self.spread_px, 0.2) * float(np.sqrt(1 / len(z) + 3 * far))


def find_numbered_row(rgb: np.ndarray, scale: Scale, typed: Sequence[Typed]) -> NumberedRow | None:
    """The row of ``scale`` that passes the typed marks in ``rgb`` ((H, W, 3) uint8).

    ``typed`` are at least two (value, (x, y)) of different printed marks; the points lie
    on the marks, beside the row or on it.  None when no row agrees with them all.
    """
    points = np.array([p for _, p in typed], float)
    reach = float(np.ptp(points[:, 1]))
    h, w = rgb.shape[:2]
    side = max(0.12 * reach, 120.0)
    x0, x1 = int(max(points[:, 0].min() - side, 0)), int(min(points[:, 0].max() + side, w))
    y0 = int(max(points[:, 1].min() - 0.03 * reach - 8, 0))
    y1 = int(min(points[:, 1].max() + 0.03 * reach + 8, h))
    part = rgb[y0:y1, x0:x1]
    coarse = max(1, round(float(np.sqrt(part.shape[0] * part.shape[1] / _SEARCH_PIXELS))))
    best: NumberedRow | None = None
    for factor in dict.fromkeys((coarse, 1)):
        small = part if factor == 1 else cv2.resize(
            part, (part.shape[1] // factor, part.shape[0] // factor), interpolation=cv2.INTER_AREA)
        here = [(v, tuple(scaled_points(np.subtract(p, (x0, y0)), 1 / factor).tolist()))
                for v, p in typed]
        row = _row_in(small, scale, here)
        if row is not None and (best is None or len(row.mark) > len(best.mark)):
            best = _moved(row, factor, x0, y0)
        if best is not None and len(best.mark) >= 0.8 * _between(scale, typed):
            break
    return best


def _row_in(rgb: np.ndarray, scale: Scale, typed: Sequence[Typed]) -> NumberedRow | None:
    """The best row of several looks (grey, red, blue; thin and thick strokes), with the
    marks that only another look shows put in."""
    looks: list[Strokes] = []
    best: NumberedRow | None = None
    for channel in (None, 2, 0):
        grey = (cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY) if channel is None
                else np.ascontiguousarray(rgb[..., channel])).astype(np.float32)
        for sigma in _SIGMAS_PX:
            looks.append(find_strokes(grey, sigma))
            row = _row(looks[-1], scale, typed)
            if row is not None and (best is None or len(row.mark) > len(best.mark)):
                best = row
            if best is not None and len(best.mark) >= 0.97 * _between(scale, typed):
                return best
    if best is None:
        return None
    fuller = _filled(best, _joined(looks), typed)
    return best if fuller is None or len(fuller.mark) <= len(best.mark) else fuller


def _joined(looks: Sequence[Strokes]) -> Strokes:
    """All strokes of all looks."""
    return Strokes(*(np.concatenate([getattr(s, name) for s in looks]) for name in (
        "centre_px", "left_px", "right_px", "length_px", "strength")))


def _filled(row: NumberedRow, strokes: Strokes, typed: Sequence[Typed]) -> NumberedRow | None:
    """The same row once more, its marks looked for among more strokes."""
    t, outside = _crossing(strokes, row.column)
    near = outside < 0.3 * float(np.median(strokes.length_px))
    z_all = np.array([m.height_mm for m in row.scale.marks])
    mark, place = _gathered(z_all[row.mark], row.place_px[:, 1], t[near], z_all)
    if mark is None or place is None:
        return None
    own = np.abs(t[near][None] - place[:, None]).argmin(axis=1)
    tilt = _tilt(strokes.take(np.flatnonzero(near)[own]), row.scale.flat)
    return _judged(row.scale, mark, place, row.column, np.array([v for v, _ in typed]),
                   np.array([p for _, p in typed], float), z_all, tilt)


def marks_between(scale: Scale, typed: Sequence[Typed]) -> np.ndarray:
    """Indices of the marks from the lowest to the highest typed value."""
    low, high = min(v for v, _ in typed), max(v for v, _ in typed)
    return np.array([i for i, m in enumerate(scale.marks) if low - 1e-9 <= m.value <= high + 1e-9])


def _between(scale: Scale, typed: Sequence[Typed]) -> int:
    return len(marks_between(scale, typed))


def _moved(row: NumberedRow, k: int, x0: float, y0: float) -> NumberedRow:
    """The same row in pixels of the whole photo: x -> k x + (k - 1)/2 + x0, y alike."""
    dx, dy = (k - 1) / 2 + x0, (k - 1) / 2 + y0
    a, b, c = row.abc
    p, q = row.column
    s, t = row.slope
    return NumberedRow(
        row.scale, row.mark, row.place_px * k + np.array([dx, dy]),
        np.array([k * a + dy * c, k * b + dy, c]), (k * p + dx - q * dy, q),
        (s - t * dy / k, t / k), row.spread_px * k, row.typed_px * k)


def _row(strokes: Strokes, scale: Scale, typed: Sequence[Typed]) -> NumberedRow | None:
    chains = find_chains(strokes)
    best: NumberedRow | None = None
    for seed in chains[:4]:
        row = _from_chain(strokes, chains, seed, scale, typed)
        if row is not None and (best is None or len(row.mark) > len(best.mark)):
            best = row
    return best


def _column(strokes: Strokes, index: np.ndarray) -> tuple[float, float]:
    """x = p + q y through the middles of the shorter strokes."""
    length = strokes.length_px[index]
    short = index[length <= 1.35 * np.percentile(length, 30)]
    x, y = strokes.centre_px[short].T
    p, q = fit_linear(np.column_stack([np.ones_like(y), y]), x, turn=2.0, least_spread=0.5,
                      rounds=5).parameters
    return float(p), float(q)


def _crossing(strokes: Strokes, column: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """y where each stroke, continued, crosses the column, and how far outside it that is."""
    dx = np.maximum(strokes.right_px[:, 0] - strokes.left_px[:, 0], 1.0)
    slope = (strokes.right_px[:, 1] - strokes.left_px[:, 1]) / dx
    x = column[0] + column[1] * strokes.centre_px[:, 1]
    y = strokes.centre_px[:, 1] + slope * (x - strokes.centre_px[:, 0])
    outside = np.maximum(strokes.left_px[:, 0] - x, x - strokes.right_px[:, 0])
    return y, np.maximum(outside, 0.0)


def _from_chain(strokes: Strokes, chains: list[Chain], seed: Chain, scale: Scale,
                typed: Sequence[Typed]) -> NumberedRow | None:
    """Number every chain that stands in one column with ``seed``."""
    column = _column(strokes, seed.index)
    t, outside = _crossing(strokes, column)
    typical = float(np.median(strokes.length_px[seed.index]))
    near = outside < 0.3 * typical
    values = np.array([v for v, _ in typed])
    heights = np.asarray(scale.height_mm(values), float)
    points = np.array([p for _, p in typed], float)
    rough = np.polyfit(heights, points[:, 1], 1)
    z_all = np.array([m.height_mm for m in scale.marks])
    step = float(np.min(np.abs(np.diff(z_all))))
    pairs: list[tuple[np.ndarray, np.ndarray]] = []
    later: list[tuple[np.ndarray, np.ndarray]] = []
    for chain in chains:
        on = near[chain.index]
        if on.mean() < 0.5 or on.sum() < 6:
            continue
        index, count = chain.index[on], chain.count[on].astype(float)
        found = _counted(count, t[index], heights, points[:, 1], step, rough)
        (pairs if found is not None else later).append(
            (found, t[index]) if found is not None else (count, t[index]))
    if not pairs:
        return None
    z = np.concatenate([p[0] for p in pairs])
    y = np.concatenate([p[1] for p in pairs])
    if len(z) < 6:
        return None
    mark, place = _gathered(z, y, t[near], z_all)
    if mark is None or place is None:
        return None
    own = np.abs(t[near][None] - place[:, None]).argmin(axis=1)
    tilt = _tilt(strokes.take(np.flatnonzero(near)[own]), scale.flat)
    return _judged(scale, mark, place, column, values, points, z_all, tilt)


def _tilt(strokes: Strokes, flat: bool) -> tuple[float, float]:
    """Median slope of the strokes, and how well it holds beside the row: on a round wall
    it changes from place to place."""
    span = strokes.right_px - strokes.left_px
    slope = span[:, 1] / np.maximum(span[:, 0], 1.0)
    middle = float(np.median(slope))
    beside = _SIDE_SLOPE_FLAT if flat else _SIDE_SLOPE_ROUND
    return middle, float(np.hypot(spread(slope - middle) / np.sqrt(len(slope)), beside))


def _counted(count: np.ndarray, t: np.ndarray, heights: np.ndarray, typed_y: np.ndarray,
             step_mm: float, rough: np.ndarray) -> np.ndarray | None:
    """Heights of a chain's strokes, counted from the typed marks it passes; None if it
    passes none or they contradict one another."""
    abc, residual = fit_1d(count, t)
    pitch = float(np.median(np.abs(slope_1d(abc, count))))
    inside = (typed_y > t.min() - 0.6 * pitch) & (typed_y < t.max() + 0.6 * pitch)
    if not inside.any():
        return None
    at = (typed_y[inside] - abc[1]) / (abc[0] - abc[2] * typed_y[inside])
    whole = np.round(at)
    if np.abs(at - whole).max() > _ON_A_MARK:
        return None
    z = heights[inside]
    # a count is one division of the scale, upwards or downwards in the picture
    up = np.sign(rough[0]) * step_mm
    start = z - up * whole
    if np.ptp(start) > 0.3 * step_mm:
        return None
    ratio = pitch / max(abs(rough[0]) * step_mm, 1e-9)
    if len(z) == 1 and not 0.62 < ratio < 1.6:
        return None
    good = np.abs(residual) < 0.3 * pitch
    return np.where(good, float(np.median(start)) + up * count, np.nan)


def _gathered(z: np.ndarray, y: np.ndarray, t: np.ndarray, z_all: np.ndarray
              ) -> tuple[np.ndarray | None, np.ndarray | None]:
    """From numbered strokes to all marks that have a stroke where the map says."""
    ok = np.isfinite(z)
    z, y = z[ok], y[ok]
    mark = place = None
    for _ in range(4):
        if len(z) < 6:
            return None, None
        abc, _ = fit_1d(z, y)
        if (1 + abc[2] * z_all <= 0.05).any():
            # far marks of a long scale may lie behind the camera: leave them out
            z_all = np.where(1 + abc[2] * z_all > 0.05, z_all, np.nan)
        want = project_1d(abc, z_all)
        apart = np.abs(np.gradient(z_all)) * np.abs(slope_1d(abc, z_all))
        off = np.abs(t[None] - want[:, None])
        off = np.where(np.isfinite(off), off, np.inf)
        nearest = off.argmin(axis=1)
        hit = off[np.arange(len(want)), nearest] < _BELONGS * np.nan_to_num(apart) + 0.4
        mark = np.flatnonzero(hit)
        stroke = nearest[hit]
        _, first = np.unique(stroke, return_index=True)
        mark, stroke = mark[np.sort(first)], stroke[np.sort(first)]
        place = t[stroke]
        z, y = z_all[mark], place
    return mark, place


def _judged(scale: Scale, mark: np.ndarray, place: np.ndarray, column: tuple[float, float],
            values: np.ndarray, points: np.ndarray, z_all: np.ndarray,
            tilt: tuple[float, float]) -> NumberedRow | None:
    """The row, if the typed marks lie where it says."""
    low, high = values.min(), values.max()
    value = np.array([scale.marks[i].value for i in mark])
    keep = (value >= low - 1e-9) & (value <= high + 1e-9)
    mark, place = mark[keep], place[keep]
    if len(mark) < 6:
        return None
    abc, residual = fit_1d(z_all[mark], place)
    own = np.asarray(scale.height_mm(values), float)
    if (1 + abc[2] * own <= 0.05).any():
        return None
    want = project_1d(abc, own)
    away = points[:, 0] - column[0] - column[1] * want
    off = points[:, 1] - want
    # Where the marks run to beside the row: their own tilt, corrected by the typed points
    # as far as those lie off the row, and steadily changing along it.
    reach = max(float(np.ptp(want)), 1.0)
    middle = float(want.mean())
    lever = np.column_stack([away, away * (want - middle) / reach])
    rows = np.vstack([lever / _TYPED_PX, [[1 / tilt[1], 0.0], [0.0, 1 / (2 * tilt[1])]]])
    fit = np.linalg.lstsq(rows, np.append(off / _TYPED_PX, [tilt[0] / tilt[1], 0.0]),
                          rcond=None)[0]
    left = off - lever @ fit
    pitch = np.abs(slope_1d(abc, own)) * float(np.min(np.abs(np.diff(z_all))))
    if (np.abs(off) > 0.8 * pitch + np.abs(away) * 0.3).any() or (np.abs(left) > 0.6 * pitch).any():
        return None
    x = column[0] + column[1] * place
    return NumberedRow(scale, mark, np.column_stack([x, place]), abc, column,
                       (float(fit[0] - fit[1] * middle / reach), float(fit[1] / reach)),
                       float(spread(residual)),
                       float(np.sqrt(np.mean(left**2))))

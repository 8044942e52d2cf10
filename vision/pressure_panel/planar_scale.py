"""A flat printed scale in a photo: its marks found, numbered in several ways, mapped to heights.

The same strokes, chains and alignment as on a chamber; only the wall is flat.  On
a plane every family of parallel marks is a bundle of straight lines, and where
they cross any upright line the picture is a one-dimensional projective map of
the height.  Pixel coordinates are those of the picture that is searched.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from vision.graduations.alignment import Alignment, align
from vision.graduations.projective_row import fit_1d, slope_1d
from vision.graduations.ridges import Strokes, find_strokes
from vision.graduations.rows import find_chains
from vision.imaging.photo import scaled_points
from vision.robust import fit_linear, spread
from vision.scale_file.scale import Scale

_SEARCH_PIXELS = 1_100_000
#: An alignment that scores less than this share of a perfect one is no ladder.
_LEAST_SCORE = 0.12 * 3.0
#: Localisation of one stroke is never taken to be better than this, px.
_FLOOR_PX = 0.15


@dataclass(frozen=True)
class FlatLadder:
    """One way to number one ladder on a panel.

    ``mark`` (M,) are indices of the scale's marks, ``left_px``, ``right_px`` and
    ``centre_px`` (M, 2) the strokes taken for them.  ``score`` is a log-likelihood;
    ``missed`` marks should be in the picture and were not found, ``unmatched_marks`` are
    strokes of the row that no mark explains.  ``key`` names the strokes, so that
    numberings of the same ladder can be told from another ladder.
    """

    scale: Scale
    mark: np.ndarray
    centre_px: np.ndarray
    left_px: np.ndarray
    right_px: np.ndarray
    score: float
    missed: int
    unmatched_marks: int
    key: frozenset[int]

    @property
    def height_mm(self) -> np.ndarray:
        """(M,) heights of the marks found."""
        return np.array([self.scale.marks[i].height_mm for i in self.mark])

    @property
    def ends_seen(self) -> bool:
        """At either end of the scale the last or last but one mark is among those found."""
        n = len(self.scale.marks)
        return int(self.mark.min()) <= 1 and int(self.mark.max()) >= n - 2

    @property
    def complete(self) -> bool:
        """Both ends seen, hardly a mark missing and none too many."""
        return (self.ends_seen and len(self.mark) >= 0.9 * len(self.scale.marks)
                and self.unmatched_marks <= 1)

    def slope(self, y: np.ndarray | float) -> np.ndarray:
        """Slope dy/dx of a mark at picture height ``y``: all marks together, smoothed.

        Seen in perspective the slope changes steadily from mark to mark.
        """
        d = self._direction
        return np.asarray(d.at_middle + d.per_px * (np.asarray(y) - d.middle_px))

    @cached_property
    def _direction(self) -> _Direction:
        return _fit_direction(self.left_px, self.right_px, self.centre_px)

    def map_at(self, x: float) -> UprightMap:
        """Heights along the upright line at picture column ``x``."""
        away = x - self.centre_px[:, 0]
        y = self.centre_px[:, 1].copy()
        for _ in range(2):
            y = self.centre_px[:, 1] + away * self.slope(y)
        abc, residual = fit_1d(self.height_mm, y)
        return UprightMap(abc, max(float(spread(residual)), _FLOOR_PX),
                          float(np.abs(away).mean() * self._direction.sd), self.height_mm)


@dataclass(frozen=True)
class _Direction:
    """Slope of the marks: at ``middle_px``, its change per px of y, and its uncertainty."""

    at_middle: float
    per_px: float
    middle_px: float
    sd: float


@dataclass(frozen=True)
class UprightMap:
    """y = (a z + b) / (1 + c z) along one upright line, with what its fit says of itself."""

    abc: np.ndarray
    spread_px: float
    direction_sd_px: float
    height_mm: np.ndarray

    @property
    def marks(self) -> int:
        """How many marks carry the map."""
        return len(self.height_mm)

    def height(self, y: float) -> float:
        """Height (mm) at picture height ``y``."""
        a, b, c = self.abc
        return float((y - b) / (a - c * y))

    def px_per_mm(self, height_mm: float) -> float:
        """Pixels of the picture in a millimetre at that height."""
        return float(abs(slope_1d(self.abc, np.array([height_mm]))[0]))

    def sd_px(self, height_mm: float) -> float:
        """Standard uncertainty of the fitted place of a height, in px.

        Of a straight fit through the marks; the direction's share is added apart.
        """
        z = self.height_mm
        far = (height_mm - z.mean()) ** 2 / max(float(((z - z.mean()) ** 2).sum()), 1e-9)
        return self.spread_px * float(np.sqrt(1 / self.marks + 2 * far))


def find_flat_ladders(grey: np.ndarray, scale: Scale, near: tuple[float, float]
                      ) -> list[FlatLadder]:
    """All numberings of all ladders near a point, the likeliest first.

    ``grey`` is (H, W) float32 with dark print on a lighter ground, ``near`` (x, y).
    Empty when there is no ladder that could be this scale.
    """
    h, w = grey.shape
    coarse = max(1, round(np.sqrt(h * w / _SEARCH_PIXELS)))
    plans = dict.fromkeys([(coarse, 1.3), (max(1, coarse // 2), 1.5), (coarse, 2.0), (1, 1.2)])
    best: list[FlatLadder] = []
    for factor, sigma in plans:
        small = grey if factor == 1 else cv2.resize(
            grey, (w // factor, h // factor), interpolation=cv2.INTER_AREA)
        found = _search(small, scale, factor, sigma, near)
        if found and (not best or found[0].score > best[0].score):
            best = found
        if best and best[0].complete:
            break
    return best


def _search(small: np.ndarray, scale: Scale, factor: int, sigma: float,
            near: tuple[float, float]) -> list[FlatLadder]:
    strokes = find_strokes(small, sigma)
    x, y = scaled_points(near, 1 / factor)
    chains = sorted(find_chains(strokes), key=lambda c: _distance(strokes, c.index, x, y))[:4]
    found: list[Alignment] = []
    for chain in chains:  # one at a time: each ladder keeps its own numberings
        found += align(strokes, [chain], scale, small.shape[0])
    least = _LEAST_SCORE * len(scale.marks)
    found = sorted((a for a in found if a.score >= least), key=lambda a: -a.score)
    return [_ladder(a, strokes, scale, factor) for a in found]


def _ladder(a: Alignment, strokes: Strokes, scale: Scale, factor: int) -> FlatLadder:
    centre, left, right = (scaled_points(p[a.stroke], factor) for p in (
        strokes.centre_px, strokes.left_px, strokes.right_px))
    return FlatLadder(scale, a.mark, centre, left, right, a.score, a.missed, a.unmatched_marks,
                      frozenset(a.stroke.tolist()))


def _distance(strokes: Strokes, index: np.ndarray, x: float, y: float) -> float:
    """How far a point lies outside the box round a row of strokes."""
    p, q = strokes.left_px[index], strokes.right_px[index]
    dx = max(float(p[:, 0].min()) - x, x - float(q[:, 0].max()), 0.0)
    dy = max(float(p[:, 1].min()) - y, y - float(p[:, 1].max()), 0.0)
    return float(np.hypot(dx, dy))


def _fit_direction(left: np.ndarray, right: np.ndarray, centre: np.ndarray) -> _Direction:
    """Robust straight fit of the marks' slopes over y."""
    d = right - left
    length = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1.0)
    slope = d[:, 1] / np.maximum(d[:, 0], 1.0)
    middle = float(centre[:, 1].mean())
    y = centre[:, 1] - middle
    reach = max(float(np.ptp(y)), 1.0)
    # A short row cannot tell perspective from noise: it is drawn towards none.
    fit = fit_linear(np.column_stack([np.ones_like(y), y / reach]), slope, weight=length**2,
                     turn=2.0, least_spread=1e-4, rounds=6, pull=(0.0, 0.3))
    p, sd = fit.parameters, max(fit.spread, _FLOOR_PX / float(length.mean()))
    return _Direction(float(p[0]), float(p[1] / reach), middle, sd / float(np.sqrt(len(y))))


def same_ladder(a: FlatLadder, b: FlatLadder) -> bool:
    """Whether two numberings are about the same row of strokes."""
    return len(a.key & b.key) > 0.2 * min(len(a.key), len(b.key))


def division_ratio(a: FlatLadder, b: FlatLadder) -> float:
    """How much larger a step of ladder ``b`` looks than one of ``a``, at the same height."""
    def step(ladder: FlatLadder) -> float:
        abc, _ = fit_1d(ladder.mark.astype(float), ladder.centre_px[:, 1])
        k = (middle - abc[1]) / (abc[0] - abc[2] * middle)
        return float(abs(slope_1d(abc, np.array([k]))[0]))

    middle = float(np.median(a.centre_px[:, 1]))
    return step(b) / step(a)

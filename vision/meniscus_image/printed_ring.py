"""Whether a level line on the wall is only a printed mark that runs round the tube.

An empty tube with marks all round it shows level lines enough, and nothing else.  What is
printed again and again looks alike; a liquid surface does not look like the marks above it, nor
like those below, since it parts two fluids that show differently what lies behind them.
"""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.unroll import unroll
from vision.optics.refraction import N_WATER
from vision.parameters import (
    ALL_ROUND_DEG,
    LIKE_A_MARK,
    ON_A_MARK_MM,
    ON_A_MARK_PX,
    RING_DEG,
)
from vision.scale_file.scale import Mark

_STEP_MM = 0.1
#: Half the height of what is compared, and how far off the nearest mark is that it is compared
#: with: nearer ones may lie in the meniscus.
_HALF_MM, _CLEAR_MM = 1.3, 2.2
#: So many marks on either side are compared; fewer say nothing about how alike they look;
#: differences below a grey level are noise.
_MOST, _FEWEST, _FEWEST_IN_ALL, _LEAST_LEVELS = 6, 2, 5, 1.0
_COLUMNS = 24


def is_printed_ring(rgb: np.ndarray, fit: GraduationFit, height_mm: float) -> bool:
    """True where the line at ``height_mm`` lies on a ring and looks as other rings do.

    ``rgb`` is (H, W, 3) uint8, the picture of ``fit``.  Always False for marks that cover
    only a small part of the visible wall: a line right across is then no mark.  Where marks run
    right round and there are too few of them to compare, a line on one is taken for it.
    """
    mark = _ring_at(fit, height_mm)
    if mark is None:
        return False
    unknown = _runs_round(_reach_deg(fit, mark))  # then nothing shows that it is no mark
    away = np.array([m.height_mm for m in fit.scale.marks if m.length == mark.length])
    away -= mark.height_mm
    sides = [np.sort(away[away > _CLEAR_MM])[:_MOST], np.sort(-away[away < -_CLEAR_MM])[:_MOST]]
    if min(len(side) for side in sides) < _FEWEST:
        return unknown
    high, low = (mark.height_mm + sign * (side[-1] + _HALF_MM + 1.0)
                 for sign, side in zip((1, -1), sides, strict=True))
    z = np.arange(high, low, -_STEP_MM)
    wall = unroll(rgb, fit.pose, z, np.linspace(-0.95, 0.95, _COLUMNS))
    here = _window(wall, z, mark.height_mm)
    others = [[w for d in side if (w := _window(wall, z, mark.height_mm + sign * d)) is not None]
              for sign, side in zip((1, -1), sides, strict=True)]
    number = [len(o) for o in others]
    if here is None or min(number) < _FEWEST or sum(number) < _FEWEST_IN_ALL:
        return unknown
    usual = [np.median(o, axis=0) for o in others]
    apart = float(np.median([_rms(w - u) for o, u in zip(others, usual, strict=True) for w in o]))
    limit = LIKE_A_MARK * max(apart, _LEAST_LEVELS)
    return all(_rms(here - u) < limit for u in usual)


def _reach_deg(fit: GraduationFit, mark: Mark) -> tuple[float, float]:
    """Azimuth of the left and the right end of marks of that length."""
    left, right = fit.long_rad if mark.length == "long" else fit.core_rad
    return float(np.degrees(left)), float(np.degrees(right))


def _runs_round(reach_deg: tuple[float, float]) -> bool:
    left, right = reach_deg
    return right - left >= RING_DEG and max(-left, right) >= ALL_ROUND_DEG


def _ring_at(fit: GraduationFit, height_mm: float) -> Mark | None:
    """The nearest mark whose front, or whose back as it is seen through the tube, lies there."""
    reach = max(ON_A_MARK_MM, ON_A_MARK_PX / fit.pose.px_per_mm(height_mm))
    # through air the back is seen at the sight line's own slope, through liquid at a smaller one
    rise = 2 * float(fit.pose.radius_at_mm(height_mm)) * float(
        np.tan(fit.pose.elevation_rad(height_mm)))
    back = sorted((rise, rise / N_WATER))
    best: tuple[float, Mark] | None = None
    for mark in fit.scale.marks:
        off, (left, right) = height_mm - mark.height_mm, _reach_deg(fit, mark)
        there = right - left >= RING_DEG and abs(off) <= reach
        there |= _runs_round((left, right)) and back[0] - reach <= off <= back[1] + reach
        if there and (best is None or abs(off) < best[0]):
            best = abs(off), mark
    return None if best is None else best[1]


def _window(wall: np.ndarray, z: np.ndarray, height_mm: float) -> np.ndarray | None:
    """(rows, columns, 3) round a height, each column less its mean; None outside the photo."""
    middle = round((z[0] - height_mm) / _STEP_MM)
    half = round(_HALF_MM / _STEP_MM)
    part = wall[max(middle - half, 0):middle + half + 1]
    if len(part) < 2 * half + 1 or not np.isfinite(part).all():
        return None
    return np.asarray(part - part.mean(axis=0, keepdims=True))


def _rms(x: np.ndarray) -> float:
    return float(np.sqrt(np.mean(x**2)))

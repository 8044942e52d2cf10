"""Whether a level line on the wall is only a printed mark that runs round the tube.

An empty tube with marks all round it shows level lines enough, and nothing else.  What is
printed again and again looks alike; a liquid surface does not look like the marks above it, nor
like those below, since it parts two fluids that show differently what lies behind them.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.parting import of_one_tube
from vision.meniscus_image.unroll import unroll
from vision.optics.refraction import N_WATER
from vision.parameters import (
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
#: Places across the tube at which it is looked.
_ACROSS = np.linspace(-0.95, 0.95, 24)
#: How far from a line its meniscus and print reach; so many other marks tell how much the wall's
#: colour changes anyhow, and so many times as much, and at least so many grey levels, it changes
#: where two fluids meet.  Our choice.
_EDGE_MM, _FEWEST_TO_TELL, _TWO_FLUIDS, _LEAST_CHANGE = 1.0, 3, 2.5, 10.0
#: So many times as much, and at least so many grey levels, the wall changes its colour at a place
#: that is plainer than a line on a ring.  Our choice.
_PLAINER, _PLAIN_CHANGE = 4.0, 30.0
#: Half of a printed line with its soft edges, and the most of a window that print may hide.
_PRINT_MM, _MOST_HIDDEN = 0.4, 0.7


def is_printed_ring(rgb: np.ndarray, fit: GraduationFit, height_mm: float) -> bool:
    """True where the line at ``height_mm`` lies on a ring, looks as other rings do and parts no
    two fluids.

    ``rgb`` is (H, W, 3) uint8, the picture of ``fit``.  Always False for marks that cover
    only a small part of the visible wall: a line right across is then no mark.  Where marks run
    right round and there are too few of them to compare, a line on one is taken for it.
    So it is, unlike the others or not, where the wall keeps its colour across it: seen level, front
    and back of one ring lie in one line, darker than the others.
    """
    mark = _ring_at(fit, height_mm)
    if mark is None:
        return False
    if fit.runs_round(mark.length) and _change(
            rgb, fit, height_mm, _reach_mm(fit, mark)) < _LEAST_CHANGE:
        return True
    return _like_others(rgb, fit, mark) and not _parts_two_fluids(rgb, fit, mark, height_mm)


def is_outshone(rgb: np.ndarray, fit: GraduationFit, height_mm: float,
                others_mm: Iterable[float]) -> bool:
    """True where a line on a ring parts what looks much the same, and one of ``others_mm``, places
    where the surface may be as well, parts what plainly does not."""
    mark = _ring_at(fit, height_mm)
    if mark is None:
        return False
    reach = _reach_mm(fit, mark)
    here = _change(rgb, fit, height_mm, reach)
    plain = max(_PLAINER * here, _PLAIN_CHANGE)  # NaN where it is not seen: then nothing is
    return any(_change(rgb, fit, other, reach) > plain for other in others_mm)


def _reach_mm(fit: GraduationFit, mark: Mark) -> float:
    """The distance between two marks like that one, and some more."""
    every = np.array([m.height_mm for m in fit.scale.marks if m.length == mark.length])
    return float(np.median(np.abs(np.diff(every)))) + _EDGE_MM if len(every) > 1 else 2 * _EDGE_MM


def _like_others(rgb: np.ndarray, fit: GraduationFit, mark: Mark) -> bool:
    """Whether a ring looks as others do; where too few are seen, whether it runs right round."""
    round_about = fit.runs_round(mark.length)
    away = np.array([m.height_mm for m in fit.scale.marks if m.length == mark.length])
    away = away[of_one_tube(fit, mark.height_mm, away)] - mark.height_mm
    sides = [np.sort(away[away > _CLEAR_MM])[:_MOST], np.sort(-away[away < -_CLEAR_MM])[:_MOST]]
    high, low = (mark.height_mm + sign * ((side[-1] if len(side) else 0.0) + _HALF_MM + 1.0)
                 for sign, side in zip((1, -1), sides, strict=True))
    z = np.arange(high, low, -_STEP_MM)
    wall = unroll(rgb, fit.pose, z, _ACROSS)
    above, below = ([mark.height_mm + sign * d for d in side]
                    for sign, side in zip((1, -1), sides, strict=True))
    alike: bool | None = None
    if round_about:
        # The back of a ring moves against its front from ring to ring, as the sight line turns.
        # Between the two only the wall is seen, alike at all rings, in liquid or not.
        hidden = _printed_round(fit, z)
        bare = np.where(hidden[..., None], np.inf, wall)
        here = np.abs(z - mark.height_mm) <= _HALF_MM
        if hidden[here].mean() < _MOST_HIDDEN:
            alike = _as_others(bare, z, mark.height_mm, [above + below])
    if alike is None and min(len(side) for side in sides) >= _FEWEST:
        alike = _as_others(wall, z, mark.height_mm, [above, below])
    # where too few are seen nothing shows that a line on a ring is none
    return round_about if alike is None else alike


def _parts_two_fluids(rgb: np.ndarray, fit: GraduationFit, mark: Mark, height_mm: float) -> bool:
    """Whether the wall is of another colour above a line than below it, as nowhere else on it.

    Measured over the distance between two such marks, so that as much print lies above as below.
    """
    every = np.array([m.height_mm for m in fit.scale.marks if m.length == mark.length])
    if len(every) < 2:
        return False
    reach = _reach_mm(fit, mark)
    low, high = every.min() - _EDGE_MM + reach, every.max() + _EDGE_MM - reach
    others = every[(np.abs(every - height_mm) > 2 * reach) & (every >= low) & (every <= high)]
    others = others[of_one_tube(fit, height_mm, others)] if len(others) else others
    if len(others) < _FEWEST_TO_TELL:
        return False
    here, *there = (_change(rgb, fit, float(h), reach) for h in (height_mm, *others))
    # one of the others may be close to something else: the lid, the edge of a shelf behind
    usual = sorted((c for c in there if np.isfinite(c)), reverse=True)
    return len(usual) >= _FEWEST_TO_TELL and here > max(_TWO_FLUIDS * usual[1], _LEAST_CHANGE)


def _change(rgb: np.ndarray, fit: GraduationFit, height_mm: float, reach_mm: float) -> float:
    """Grey levels by which the wall's colour changes at a height; NaN outside the photo."""
    wall = unroll(rgb, fit.pose, np.arange(
        height_mm + reach_mm, height_mm - reach_mm, -_STEP_MM), _ACROSS)
    if np.isnan(wall).any():
        return float("nan")
    rows = max(round((reach_mm - _EDGE_MM) / _STEP_MM), 1)
    change = np.median(wall[:rows], axis=0) - np.median(wall[-rows:], axis=0)
    return float(np.sqrt(np.mean(np.median(change, axis=0) ** 2)))


def _as_others(wall: np.ndarray, z: np.ndarray, height_mm: float, places: list[list[float]]
               ) -> bool | None:
    """Whether a place looks like each of some groups of ``places``; None if too few are seen.

    ``wall`` (Z, U, 3) is NaN outside the photo, and not finite where it is not to be compared.
    """
    here = _window(wall, z, height_mm)
    others = [[w for h in group if (w := _window(wall, z, h)) is not None] for group in places]
    number = [len(o) for o in others]
    if here is None or min(number) < _FEWEST or sum(number) < _FEWEST_IN_ALL:
        return None
    usual = [_median(o) for o in others]
    apart = float(np.median([_unlike(w, u) for o, u in zip(others, usual, strict=True)
                             for w in o]))
    limit = LIKE_A_MARK * max(apart, _LEAST_LEVELS)
    return all(_unlike(here, u) < limit for u in usual)


def _ring_at(fit: GraduationFit, height_mm: float) -> Mark | None:
    """The nearest mark whose front, or whose back as it is seen through the tube, lies there."""
    reach = max(ON_A_MARK_MM, ON_A_MARK_PX / fit.pose.px_per_mm(height_mm))
    # through air the back is seen at the sight line's own slope, through liquid at a smaller one
    rise = 2 * float(fit.pose.radius_at_mm(height_mm)) * float(
        np.tan(fit.pose.elevation_rad(height_mm)))
    back = sorted((rise, rise / N_WATER))
    best: tuple[float, Mark] | None = None
    for mark in fit.scale.marks:
        off, (left, right) = height_mm - mark.height_mm, fit.reach_deg(mark.length)
        there = right - left >= RING_DEG and abs(off) <= reach
        there |= fit.runs_round(mark.length) and back[0] - reach <= off <= back[1] + reach
        if there and (best is None or abs(off) < best[0]):
            best = abs(off), mark
    return None if best is None else best[1]


def _printed_round(fit: GraduationFit, z: np.ndarray) -> np.ndarray:
    """(Z, U) True where marks that run right round are seen, their fronts and their backs.

    The back is a chord of the tube farther off: seen at the sight line's slope through air, and
    at a smaller one through liquid.
    """
    out = np.zeros((len(z), len(_ACROSS)), dtype=bool)
    for length in ("short", "long"):
        height = np.array([m.height_mm for m in fit.scale.marks if m.length == length])
        height = height[(height < z[0] + _CLEAR_MM) & (height > z[-1] - _CLEAR_MM)]
        if not len(height) or not fit.runs_round(length):
            continue
        radius = np.broadcast_to(fit.pose.radius_at_mm(height), height.shape)
        chord = 2 * radius[:, None] * np.sqrt(1 - _ACROSS**2)
        rise = chord * np.tan(fit.pose.elevation_rad(height))[:, None]
        for h, back in zip(height, rise, strict=True):
            room = max(_PRINT_MM, ON_A_MARK_PX / fit.pose.px_per_mm(float(h)))
            low = np.minimum(back, back / N_WATER) - room
            high = np.maximum(back, back / N_WATER) + room
            off = z[:, None] - h
            out |= (np.abs(off) < room) | ((off > low) & (off < high))
    return out


def _window(wall: np.ndarray, z: np.ndarray, height_mm: float) -> np.ndarray | None:
    """(rows, columns, 3) round a height, each column less its mean, NaN where it is not to be
    compared; None outside the photo."""
    middle = round((z[0] - height_mm) / _STEP_MM)
    half = round(_HALF_MM / _STEP_MM)
    part = wall[max(middle - half, 0):middle + half + 1]
    if len(part) < 2 * half + 1 or np.isnan(part).any():
        return None
    seen = np.isfinite(part)
    mean = np.where(seen, part, 0.0).sum(axis=0) / np.maximum(seen.sum(axis=0), 1)
    return np.where(seen, part, np.nan) - mean


def _median(windows: list[np.ndarray]) -> np.ndarray:
    """What the windows have in common, NaN where none of them shows the wall."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmedian(windows, axis=0))


def _unlike(a: np.ndarray, b: np.ndarray) -> float:
    """How much two windows differ where both show the wall: root of the mean square down a column,
    of all columns the middle one (numbers differ from mark to mark, a surface runs across)."""
    both = np.isfinite(a) & np.isfinite(b)
    square = np.where(both, np.nan_to_num(a) - np.nan_to_num(b), 0.0) ** 2
    seen = both.sum(axis=(0, 2))
    column = np.sqrt(square.sum(axis=(0, 2)) / np.maximum(seen, 1))[seen > 0]
    return float(np.median(column)) if column.size else 0.0

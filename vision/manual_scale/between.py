"""The value at a tapped point of a vessel without marks, between places of known height.

For a glass or a bottle whose scale file says which volume stands at which height: the
person taps two or more places of the vessel itself (its rim, its foot) and the edge of
the liquid.  Nothing is read outside the scale's lowest and highest mark.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from vision.budget import NORMAL_95, BudgetTerm, combined_standard_uncertainty
from vision.errors import InputError
from vision.imaging.camera import FILM_DIAGONAL_MM, focal_px
from vision.imaging.photo import Photo
from vision.manual_scale.at_point import TAP_PX, VIEW_DEG, PointReading
from vision.scale_file.scale import Scale

#: (height in mm on the scale file's axis, (x, y) in pixels of the upright photo).
Place = tuple[float, tuple[float, float]]
#: The two outermost places have to lie so many pixels apart.
LEAST_PX = 50.0
#: Without a focal length in the photo: that of an ordinary phone, 26 mm (35 mm
#: equivalent), which makes the perspective's doubt large (common practice, no source).
_USUAL_F35 = 26.0


def read_between(photo: Photo, scale: Scale, point: tuple[float, float], places: Sequence[Place],
                 *, behind_mm: float = 0.0) -> PointReading:
    """The value at a tapped point of a vessel without marks.

    Two places give a straight map of rows to heights, three or more the straight line
    that fits best; what perspective can bend it when the view is off level by 5 degrees
    is in the interval.

    Parameters
    ----------
    photo, scale, point
        As for :func:`vision.manual_scale.at_point.read_point`.
    places : sequence of (float, (x, y))
        Two or more places of the vessel itself: height on the scale file's axis (mm), pixel.
    behind_mm : float
        How far what was tapped lies behind the places; 0 when all are on the vessel's front.

    Returns
    -------
    PointReading
        Value and interval in the scale's unit, or why there is none.

    Raises
    ------
    InputError
        For places that say nothing, or points outside the photo.

    References
    ----------
    JCGM 100:2008 (budget).
    """
    at, height, along = _line(photo, point, places)
    slope, start = (float(v) for v in np.polyfit(along, height, 1))
    here = float(start + slope * at)
    low, high = scale.lowest_mark, scale.highest_mark
    division = scale.smallest_division
    ends = sorted((scale.height_mm(low.value), scale.height_mm(high.value)))
    nothing = np.zeros((0, 2))
    slack = TAP_PX * abs(slope)
    if not ends[0] - slack <= here <= ends[1] + slack:
        return PointReading(scale.unit, division, None, None, (), nothing, 0.0, (),
                            f"The point lies outside the scale, which knows {low.value:g} to "
                            f"{high.value:g} {scale.unit} only.")
    here = min(max(here, ends[0]), ends[1])
    value = float(scale.value_at(here))
    budget = _budget(photo, scale, here, slope, along, height, at, behind_mm)
    half = NORMAL_95 * combined_standard_uncertainty(budget)
    return PointReading(scale.unit, scale.division_at(value), value, (value - half, value + half),
                        (), nothing, 0.0, budget)


def _line(photo: Photo, point: tuple[float, float], places: Sequence[Place]
          ) -> tuple[float, np.ndarray, np.ndarray]:
    """(point along the vessel in px, heights in mm, places along the vessel in px)."""
    if not all(photo.holds(p) for p in (point, *(p for _, p in places))):
        raise InputError("A point lies outside the photo: tap inside the picture.")
    height = np.array([h for h, _ in places], dtype=float)
    spots = np.array([p for _, p in places], dtype=float).reshape(-1, 2)
    if len(height) < 2 or np.ptp(height) <= 0:
        raise InputError("Give two places of the vessel at different heights, such as its foot "
                         "and its rim.")
    foot, top = spots[height.argmin()], spots[height.argmax()]
    length = float(np.hypot(*(top - foot)))
    if length < LEAST_PX:
        raise InputError("The places lie too near to each other in the photo; go nearer, or "
                         "choose places farther apart.")
    axis = (top - foot) / length
    return float((np.array(point) - foot) @ axis), height, (spots - foot) @ axis


def _budget(photo: Photo, scale: Scale, here: float, slope: float,
            along: np.ndarray, height: np.ndarray, at: float, behind_mm: float
            ) -> tuple[BudgetTerm, ...]:
    per_mm = abs(float(scale.value_at(here + 0.5) - scale.value_at(here - 0.5)))
    per_px = per_mm * abs(slope)
    # Variance of a fitted line at ``at``, each place uncertain by a tap.
    spread = along - along.mean()
    leverage = 1 / len(along) + (at - along.mean()) ** 2 / (spread**2).sum()
    tilt = math.tan(math.radians(VIEW_DEG))
    fit = float(np.sqrt(leverage))
    terms = [
        BudgetTerm("tapped point", TAP_PX * per_px, scale.unit, "one pixel"),
        BudgetTerm("tapped places", TAP_PX * fit * per_px, scale.unit,
                   f"one pixel each, {len(along)} places"),
        BudgetTerm("perspective", _bend_px(photo, along, at) * tilt / math.sqrt(3) * per_px,
                   scale.unit, f"view level to {VIEW_DEG:g} degrees"),
        BudgetTerm("sight line not level", behind_mm * tilt / math.sqrt(3) * per_mm, scale.unit,
                   f"{behind_mm:.3g} mm behind the places, level to {VIEW_DEG:g} degrees"),
    ]
    if len(along) > 2:
        off = height - np.polyval(np.polyfit(along, height, 1), along)
        scatter = float(np.sqrt((off**2).sum() / (len(along) - 2)))
        terms.append(BudgetTerm("scatter of the places", scatter * fit * per_mm,
                                scale.unit, "round the straight line through them"))
    if scale.tolerance:
        terms.append(BudgetTerm("scale tolerance", scale.tolerance / math.sqrt(3), scale.unit,
                                "stated in the scale file, taken as rectangular"))
    return tuple(terms)


def _bend_px(photo: Photo, along: np.ndarray, at: float) -> float:
    """How far a unit tilt (tangent 1) moves ``at`` off the straight line, px.

    A line of ``length`` px seen with tilt t by a pinhole of focal length f maps
    s -> s / (1 + t s / f) up to scale; with both ends held the middle part is off by
    t s (length - s) / f to first order in t.
    """
    known = focal_px(photo.camera, photo.width, photo.height)
    usual = _USUAL_F35 / FILM_DIAGONAL_MM * math.hypot(photo.width, photo.height)
    focal = known[0] if known else usual
    inside = (at - along.min()) * (along.max() - at)
    return abs(float(inside)) / focal

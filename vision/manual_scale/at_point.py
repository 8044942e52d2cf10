"""The value at a point that a person tapped, against a row of marks they numbered.

For glassware whose liquid the reader of chambers does not know (a burette, a
measuring cylinder, a thermometer): the person says which two or more marks are
which and where the edge stands; the marks between do the measuring.  Nothing is
read outside the typed numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.budget import NORMAL_95, BudgetTerm, combined_standard_uncertainty
from vision.errors import InputError
from vision.imaging.photo import Photo
from vision.manual_scale.row import NumberedRow, Typed, find_numbered_row, marks_between
from vision.scale_file.scale import Scale

#: A tap is uncertain by this part of a division, but never by less than a pixel
#: (half a pixel at a time, common practice, no source).
TAP_DIVISIONS, TAP_PX = 0.1, 1.0
#: How far off level a sight line is taken to be that was meant to be level (half width).
VIEW_DEG = 5.0
#: With fewer marks than this share of those between the typed ones there is no reading.
LEAST_SHARE = 0.4


@dataclass(frozen=True)
class PointReading:
    """``value`` and ``interval`` in ``unit``; None when refused, ``reason`` says why.

    ``found`` are the values of the marks that were found, ``found_px`` (M, 2) where;
    ``share_found`` is their share of the marks between the typed numbers, hidden
    ones included.
    """

    unit: str
    division: float
    value: float | None
    interval: tuple[float, float] | None
    found: tuple[float, ...]
    found_px: np.ndarray
    share_found: float
    budget: tuple[BudgetTerm, ...] = ()
    reason: str = ""

    @property
    def status(self) -> str:
        """ "read" or "refused"."""
        return "refused" if self.value is None else "read"


def read_point(photo: Photo, scale: Scale, point: tuple[float, float], numbers: Sequence[Typed],
               *, behind_mm: float | None = None) -> PointReading:
    """The value at a tapped point between marks that a person numbered.

    It is the one seen at the point: the sight line is taken as level to 5 degrees, and that is
    in the interval.

    Parameters
    ----------
    photo : Photo
        From :func:`vision.load_photo`.
    scale : Scale
        What is printed on the vessel; from :func:`vision.load_scale`.
    point : (x, y)
        In pixels of the upright photo, origin at the centre of the top-left pixel.
    numbers : sequence of (float, (x, y))
        Values of two or more printed marks, in the scale's unit, and where they are.
    behind_mm : float, optional
        How far what was tapped lies behind the marks (default: the bore's radius, 0 on a flat
        scale; 0 for a point on the print itself).

    Returns
    -------
    PointReading
        Value and interval in the scale's unit, or why there is none.

    Raises
    ------
    InputError
        For points outside the photo or numbers that are not printed marks.

    References
    ----------
    JCGM 100:2008 (budget).
    """
    _check(photo, scale, point, numbers)
    division = scale.smallest_division
    row = find_numbered_row(photo.rgb, scale, numbers)
    if row is None:
        return _refused(scale, division, None, numbers, "No row of marks agrees with the typed "
                        "numbers: tap the marks themselves, and check the numbers and the scale.")
    share = len(row.mark) / len(marks_between(scale, numbers))
    if share < LEAST_SHARE:
        return _refused(scale, division, row, numbers, "Too few marks are seen between the typed "
                        "numbers: go nearer, or uncover the scale.")
    height = row.height_mm(point)
    value = float(scale.value_at(height))
    low, high = min(v for v, _ in numbers), max(v for v, _ in numbers)
    slack = 0.5 * division
    if not math.isfinite(value) or not low - slack <= value <= high + slack:
        return _refused(scale, division, row, numbers, "The point lies outside the typed numbers; "
                        "type a number on either side of it.")
    if behind_mm is None:
        behind_mm = 0.0 if scale.flat else scale.inner_radius_mm(value)
    budget = _budget(row, scale, height, value, behind_mm)
    half = NORMAL_95 * combined_standard_uncertainty(budget)
    return PointReading(scale.unit, scale.division_at(value), value, (value - half, value + half),
                        _values(row), row.place_px, share, budget)


def _check(photo: Photo, scale: Scale, point: tuple[float, float], numbers: Sequence[Typed]
           ) -> None:
    if not all(photo.holds(p) for p in (point, *(p for _, p in numbers))):
        raise InputError("A point lies outside the photo: tap inside the picture.")
    for value, _ in numbers:
        if not any(abs(m.value - value) < 1e-6 for m in scale.marks):
            raise InputError(f"The scale '{scale.name}' has no mark {value:g}: "
                             "type the value of a printed mark.")
    if len({v for v, _ in numbers}) < 2:
        raise InputError("Type the values of two different marks, one on either side of the point.")


def _values(row: NumberedRow) -> tuple[float, ...]:
    return tuple(row.scale.marks[i].value for i in row.mark)


def _refused(scale: Scale, division: float, row: NumberedRow | None, numbers: Sequence[Typed],
             reason: str) -> PointReading:
    found = () if row is None else _values(row)
    places = np.zeros((0, 2)) if row is None else row.place_px
    return PointReading(scale.unit, division, None, None, found, places,
                        len(found) / len(marks_between(scale, numbers)), (), reason)


def _budget(row: NumberedRow, scale: Scale, height: float, value: float, behind_mm: float
            ) -> tuple[BudgetTerm, ...]:
    per_mm = abs(float(scale.value_at(height + 0.5) - scale.value_at(height - 0.5)))
    per_px = per_mm / row.px_per_mm(height)
    tap = max(TAP_PX * per_px, TAP_DIVISIONS * scale.division_at(value))
    view = behind_mm * math.tan(math.radians(VIEW_DEG)) / math.sqrt(3)
    terms = [
        BudgetTerm("tapped point", tap, scale.unit, "a tenth of a division, at least one pixel"),
        BudgetTerm("fit of the marks", row.sd_px(height) * per_px, scale.unit,
                   f"map through {len(row.mark)} marks"),
        BudgetTerm("typed marks", row.typed_px * per_px, scale.unit,
                   "scatter of the typed points round the row"),
        BudgetTerm("sight line not level", view * per_mm, scale.unit,
                   f"{behind_mm:.3g} mm behind the marks, level to {VIEW_DEG:g} degrees"),
    ]
    if scale.tolerance:
        terms.append(BudgetTerm("scale tolerance", scale.tolerance / math.sqrt(3), scale.unit,
                                "stated in the scale file, taken as rectangular"))
    return tuple(terms)

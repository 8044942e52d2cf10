"""What a reading may be asked: the one check for pages, command line and callers in code."""

from __future__ import annotations

import math

from vision.errors import InputError
from vision.imaging.photo import Photo
from vision.scale_file.scale import Scale

#: A typed value is that of a mark within so much of the scale's unit: marks are kept to 1e-9,
#: and no scale has a division below 0.001.
_SAME_VALUE = 1e-6


def check_inputs(photo: Photo, scale: Scale, *points: tuple[float, float] | None,
                 number: tuple[float, tuple[float, float]] | None = None) -> None:
    """Raise InputError for a scale without a bore, a point outside the photo or no mark's value.

    ``points`` are (x, y) in pixels of the upright photo, whose outermost pixels reach half
    a pixel beyond their centres; None where a person pointed at nothing.
    """
    if scale.flat:
        raise InputError(f"The scale '{scale.name}' is a flat scale without a bore: "
                         "choose the scale of the chamber.")
    for x, y in (p for p in (*points, number[1] if number else None) if p is not None):
        # not a number compares as False
        if not (-0.5 <= x <= photo.width - 0.5 and -0.5 <= y <= photo.height - 0.5):
            raise InputError(f"The point lies outside the photo, which is {photo.width} x"
                             f" {photo.height} pixels: tap inside the picture.")
    if number is not None and not any(math.isclose(m.value, number[0], rel_tol=0,
                                                   abs_tol=_SAME_VALUE) for m in scale.marks):
        raise InputError(f"The scale '{scale.name}' has no mark {number[0]:g}: "
                         "type the value of a printed mark.")

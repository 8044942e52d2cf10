"""What a setting may be asked: the point tapped, and how well."""

from __future__ import annotations

import math

from vision.errors import InputError
from vision.imaging.photo import Photo
from vision.parameters import SETTING_TAP_SHARE
from vision.scale_file.scale import Scale

Point = tuple[float, float]


def check_inputs(photo: Photo, scale: Scale, pointer: Point,
                 number: tuple[float, Point] | None) -> None:
    """InputError for a scale with a bore, points outside the photo or no mark's value."""
    if not scale.flat:
        raise InputError(f"The scale '{scale.name}' belongs to a chamber: choose the flat pressure "
                         "scale of the panel.")
    if not all(photo.holds(p) for p in (pointer, *([number[1]] if number else []))):
        raise InputError("The point lies outside the photo: tap inside the picture.")
    if number is not None and not any(abs(m.value - number[0]) < 1e-6 for m in scale.marks):
        raise InputError(f"The scale '{scale.name}' has no mark {number[0]:g}: "
                         "type the value of a printed mark.")


def tap_sd_px(photo: Photo) -> float:
    """Standard uncertainty of a tap, in pixels of the full photo."""
    return SETTING_TAP_SHARE * math.hypot(photo.width, photo.height)

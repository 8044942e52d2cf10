"""The camera's focal length in pixels, from what the photo says, with its doubt.

The figure is a help for weighing the elevation of the sight line, never a
measure of size: size comes from the graduations or from a card.
"""

from __future__ import annotations

import math

from vision.imaging.exif import CameraFacts

FILM_WIDTH_MM = 36.0
FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
"""43.27 mm: the diagonal of the 36 mm x 24 mm frame that defines "35 mm-equivalent"."""

SENSOR_ASPECT = 4 / 3
"""Of phone sensors; another picture shape is taken for a crop of it."""

CAMERA_SHAPES = (4 / 3, 3 / 2, 16 / 9, 1.0, 2.0, 19.5 / 9, 20 / 9)
"""Long over short side: sensors, wide formats and screens of phones (common practice,
no source)."""

_SHAPE_TOLERANCE = 0.012

LENS_RELATIVE_SD = 0.045
"""Nominal against true focal length: design tolerance, change with focus,
stabiliser crop, lens switching at close range.  Our assumption, kept wide."""


def focal_px(facts: CameraFacts, width: int, height: int) -> tuple[float, float] | None:
    """Focal length of the camera that a picture was taken with.

    35 mm-equivalent by the diagonal: f_px = f35 * diagonal_px / 43.27 mm.

    Parameters
    ----------
    facts : CameraFacts
    width, height : int
        Of the full or of the working picture, px.

    Returns
    -------
    (float, float) or None
        Focal length in pixels of the same picture and its relative standard uncertainty; None
        when the photo does not say.  A picture of no shape that cameras give was cropped
        afterwards: what it says is that of the whole picture, of which nobody knows how much
        is left.
    """
    if facts.focal_35mm is None or width <= 0 or height <= 0:
        return None
    f35, zoom = facts.focal_35mm, max(1.0, facts.digital_zoom)
    diagonal_px = math.hypot(width, height)
    if facts.focal_relative_sd is not None:  # calibrated: no doubt about conventions is left
        return f35 * diagonal_px / FILM_DIAGONAL_MM, facts.focal_relative_sd
    if not camera_shape(width, height):
        return None
    # Makers do not agree whether the 35 mm figure already holds the digital
    # zoom, so the middle (in ratio) of both is taken.
    focal = f35 * math.sqrt(zoom) * diagonal_px / FILM_DIAGONAL_MM
    return focal, relative_sd(f35, zoom, width, height)


def camera_shape(width: int, height: int) -> bool:
    """Whether a picture has one of the shapes that cameras give, upright or lying."""
    shape = max(width, height) / max(min(width, height), 1)
    return any(abs(shape / s - 1) < _SHAPE_TOLERANCE for s in CAMERA_SHAPES)


def relative_sd(f35: float, zoom: float, width: int, height: int) -> float:
    """Root sum of squares of the five doubts about a 35 mm-equivalent focal length.

    A half-width a counts as a / sqrt(3) (JCGM 100:2008, 4.3.7); the two ways to
    understand zoom count as two equally likely points.
    """
    terms = (
        0.5 / f35 / math.sqrt(3),  # written as a whole number of mm
        _by_width_instead(width, height) / math.sqrt(3),
        _by_uncropped_sensor_instead(width, height) / math.sqrt(3),
        math.log(zoom) / 2,
        LENS_RELATIVE_SD,
    )
    return math.sqrt(sum(t * t for t in terms))


def _by_width_instead(width: int, height: int) -> float:
    """Relative change if the maker meant the long side (36 mm), not the diagonal."""
    by_width = max(width, height) / FILM_WIDTH_MM
    return abs(by_width * FILM_DIAGONAL_MM / math.hypot(width, height) - 1)


def _by_uncropped_sensor_instead(width: int, height: int) -> float:
    """Relative change if the picture is the largest crop of a 4:3 sensor."""
    long_side, short_side = max(width, height), min(width, height)
    if long_side / short_side >= SENSOR_ASPECT:
        diagonal = long_side * math.hypot(1, 1 / SENSOR_ASPECT)
    else:
        diagonal = short_side * math.hypot(1, SENSOR_ASPECT)
    return abs(diagonal / math.hypot(width, height) - 1)

"""From a photo of the chamber to a reading: the one entry point of the main job.

The way through: :mod:`locate <vision.volume.locate>` -> :mod:`number <vision.volume.number>`
-> :mod:`find the meniscus <vision.meniscus_image.detect>` ->
:mod:`estimate <vision.volume.estimate>` -> :mod:`decide <vision.volume.decide>`.
"""

from __future__ import annotations

import numpy as np

from vision.errors import InputError
from vision.imaging.photo import Photo
from vision.reading import VolumeReading
from vision.scale_file.scale import Scale
from vision.volume.decide import decide
from vision.volume.evidence import gather
from vision.volume.locate import Hints


def read_volume(
    photo: Photo,
    scale: Scale,
    *,
    near: tuple[float, float] | None = None,
    surface: tuple[float, float] | None = None,
    number: tuple[float, tuple[float, float]] | None = None,
) -> VolumeReading:
    """Read the liquid level in a photo of a chamber.

    Parameters
    ----------
    photo : Photo
        From :func:`vision.load_photo`.
    scale : Scale
        What is printed on the chamber; from :func:`vision.load_scale`.
    near : (x, y), optional
        A point on or beside the chamber that is meant.  Points are in pixels of the upright
        photo, origin at the centre of the top-left pixel.
    surface : (x, y), optional
        A point at the liquid surface, used where several places compete.
    number : (float, (x, y)), optional
        A value typed by a person for the mark nearest to the point.

    Returns
    -------
    VolumeReading
        Value and interval in the unit of the scale, or an honest "no reading" with its
        reasons, which is a result and no error.

    Raises
    ------
    InputError
        For a scale without a bore, a point outside the photo, or a number that the scale
        does not have.

    References
    ----------
    ISO 4787 (reading point), JCGM 100:2008 and JCGM 101:2008 (budget and interval).
    """
    hints = Hints(near or surface, surface, number)
    check_input(photo, scale, hints)
    return decide(gather(photo, scale, hints))


def check_input(photo: Photo, scale: Scale, hints: Hints) -> None:
    """Refuse what no photo could make right."""
    if scale.flat:
        raise InputError(f"The scale '{scale.name}' is a flat scale without a bore: "
                         "choose the scale of the chamber.")
    number = hints.number
    for point in (hints.chamber_px, hints.surface_px, number[1] if number else None):
        if point is not None and not (
                np.isfinite(point).all() and -1 <= point[0] <= photo.width
                and -1 <= point[1] <= photo.height):
            raise InputError("The point lies outside the photo: tap inside the picture.")
    if number is not None and not any(abs(m.value - number[0]) < 1e-6 for m in scale.marks):
        raise InputError(f"The scale '{scale.name}' has no mark {number[0]:g}: "
                         "type the value of a printed mark.")

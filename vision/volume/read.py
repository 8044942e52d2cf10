"""From a photo of the chamber to a reading: the one entry point of the main job.

The way through: :mod:`locate <vision.volume.locate>` -> :mod:`number <vision.volume.number>`
-> :mod:`find the meniscus <vision.meniscus_image.detect>` ->
:mod:`estimate <vision.volume.estimate>` -> :mod:`decide <vision.volume.decide>`.
"""

from __future__ import annotations

from collections.abc import Sequence

from vision.errors import InputError
from vision.imaging.gravity import PhoneGravity
from vision.imaging.photo import Photo, with_gravity
from vision.parameters import MOST_PHOTOS
from vision.reading import VolumeReading
from vision.scale_file.scale import Scale
from vision.volume.combine import combine
from vision.volume.decide import decide
from vision.volume.evidence import gather
from vision.volume.inputs import check_inputs
from vision.volume.locate import Hints


def read_volume(
    photo: Photo | Sequence[Photo],
    scale: Scale,
    *,
    near: tuple[float, float] | None = None,
    surface: tuple[float, float] | None = None,
    number: tuple[float, tuple[float, float]] | None = None,
    gravity: PhoneGravity | Sequence[PhoneGravity | None] | None = None,
) -> VolumeReading:
    """Read the liquid level in one photo of a chamber, or in several together.

    Parameters
    ----------
    photo : Photo or sequence of Photo
        From :func:`vision.load_photo`.  Several photos show one chamber at one moment, best
        from different heights; their order does not matter.
    scale : Scale
        What is printed on the chamber; from :func:`vision.load_scale`.
    near : (x, y), optional
        A point on or beside the chamber that is meant.  Points are in pixels of the upright
        photo, origin at the centre of the top-left pixel, and belong to the first of several.
    surface : (x, y), optional
        A point at the liquid surface, used where several places compete.
    number : (float, (x, y)), optional
        A value typed by a person for the mark nearest to the point.
    gravity : PhoneGravity or sequence of them, optional
        Where down is by the phone's own sensor, from
        :func:`vision.imaging.gravity.phone_gravity`; overrules what the photo says.  With
        several photos one for each, in their order, None where nothing is known.

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
    photos = [photo] if isinstance(photo, Photo) else list(photo)
    if not 1 <= len(photos) <= MOST_PHOTOS:
        raise InputError(f"Give one photo, or up to {MOST_PHOTOS} of one chamber.")
    photos = with_gravity(photos, gravity)
    check_inputs(photos[0], scale, near, surface, number=number)
    first = gather(photos[0], scale, Hints(near or surface, surface, number))
    return decide(first) if len(photos) == 1 else combine(
        [first, *(gather(p, scale) for p in photos[1:])])

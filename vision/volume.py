"""From a photo of the chamber to a reading: the one entry point of the main job."""

from __future__ import annotations

from vision.photo import Photo
from vision.reading import VolumeReading
from vision.scale import Scale


def read_volume(
    photo: Photo,
    scale: Scale,
    *,
    near: tuple[float, float] | None = None,
    number: tuple[float, tuple[float, float]] | None = None,
) -> VolumeReading:
    """Read the liquid level in ``photo`` against ``scale``.

    ``near`` is an (x, y) hint in pixels of the upright photo: which chamber, or
    where on it the surface is.  ``number`` is (value, (x, y)): a value typed by
    a person for the mark nearest that point.
    """
    raise NotImplementedError

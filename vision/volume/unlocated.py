"""First stage, where it found nothing: what the photo shows in place of the marks of the scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.search import longest_row
from vision.imaging.photo import Photo, photo_from_array
from vision.parameters import SOME_SCALE_MARKS
from vision.scale_file.scale import Scale
from vision.volume.locate import STRATEGIES, locate


@dataclass(frozen=True)
class Unlocated:
    """What is in a photo whose rows of marks are not those of the scale.

    ``longest_row`` is how many evenly spaced strokes stand in the longest row, on any scale;
    ``on_its_side`` whether the marks of the scale are found once the photo is turned by a
    quarter.
    """

    longest_row: int
    on_its_side: bool


def look_for_others(photo: Photo, scale: Scale, row: GraduationFit | None = None) -> Unlocated:
    """Rows of marks of another scale, and those of this one that run across the photo.

    Parameters
    ----------
    photo : Photo
        Upright photo in which :func:`vision.volume.locate.locate` found no row of ``scale``, or
        one that is no scale.
    scale : Scale
        What is printed on the chamber that is meant.
    row : GraduationFit, optional
        The row that is no scale; what was seen on the way to it is not sought again.
    """
    picture = None if row is None else row.picture
    seen = picture.seen.get("grey") if picture is not None and (
        picture.factor == photo.working_scale) else None
    upright = longest_row(photo.working_gray.astype(np.float32), seen)
    return Unlocated(upright, _on_its_side(photo, scale, upright))


def _on_its_side(photo: Photo, scale: Scale, upright: int) -> bool:
    """A long even row of strokes that shows only in the turned photo is looked for first, which
    is cheap; blinds and radiators have such rows, too, so the scale then has to fit it."""
    crosswise = longest_row(np.rot90(photo.working_gray).astype(np.float32))
    if crosswise < SOME_SCALE_MARKS or crosswise <= upright:
        return False
    return any(locate(photo_from_array(np.rot90(photo.working_rgb, quarter).copy()), scale,
                      strategies=STRATEGIES[:1]) is not None for quarter in (1, 3))

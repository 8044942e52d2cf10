"""One size of a photo in which is searched, and the way of points between both."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np

from vision.imaging.camera import focal_px
from vision.imaging.photo import Photo
from vision.imaging.pixels import reduced
from vision.imaging.work import Work

#: In what a picture can be looked at: grey, its negative (light print), and single colours,
#: where coloured ink or liquid hides marks.
LOOKS: tuple[str, ...] = ("grey", "light print", "red", "green", "blue")


#: A search takes some 16 bytes a pixel.  Phones give 12, 24 and 48 to 50 megapixels; one
#: reading stays below 600 MB.
MOST_SEARCHED_PIXELS = 25_000_000


@dataclass(frozen=True)
class Picture:
    """``rgb`` (h, w, 3) uint8; one of its pixels covers ``factor`` x ``factor`` of the photo.

    ``focal`` is (pixels of this picture, relative standard uncertainty), None where the
    photo does not say; ``seen_smaller`` says that one of half its size was searched before, so
    that only what is finer is still to be found.  ``seen`` keeps, by look, what was found there,
    and ``rows``, by what was asked for, the rows fitted, so that neither is sought again; ``work``
    is what may still be tried.  They go with the picture.
    """

    rgb: np.ndarray
    factor: int
    focal: tuple[float, float] | None
    seen_smaller: bool = False
    seen: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)
    rows: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)
    work: Work = field(default_factory=Work, repr=False, compare=False)

    def look(self, name: str) -> np.ndarray:
        """(h, w) float32: the picture in one of ``LOOKS``."""
        if name in ("red", "green", "blue"):
            grey = cv2.extractChannel(self.rgb, ("red", "green", "blue").index(name))
        else:
            grey = cv2.cvtColor(self.rgb, cv2.COLOR_RGB2GRAY)
            grey = grey if name == "grey" else cv2.bitwise_not(grey)
        return np.asarray(grey.astype(np.float32))

    def to_photo(self, xy: Any) -> np.ndarray:
        """(..., 2) points of this picture as points of the photo."""
        return (np.asarray(xy, dtype=float) + 0.5) * self.factor - 0.5

    def from_photo(self, xy: Any) -> np.ndarray:
        """(..., 2) points of the photo as points of this picture."""
        return (np.asarray(xy, dtype=float) + 0.5) / self.factor - 0.5


def working_picture(photo: Photo) -> Picture:
    """The picture to search in first: a half or a quarter of a large photo."""
    return _picture(photo, photo.working_rgb, photo.working_scale)


def full_picture(photo: Photo) -> Picture:
    """Every pixel of the photo, decoded when first asked for; a half of its size where that
    are more than ``MOST_SEARCHED_PIXELS``."""
    if photo.width * photo.height <= MOST_SEARCHED_PIXELS:
        return _picture(photo, photo.rgb, 1)
    return _picture(photo, reduced(photo.rgb, 2), 2)


def _picture(photo: Photo, rgb: np.ndarray, factor: int) -> Picture:
    return Picture(rgb, factor, focal_px(photo.camera, rgb.shape[1], rgb.shape[0]),
                   seen_smaller=factor < photo.working_scale)

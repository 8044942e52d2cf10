"""Does the chamber lie on its side in the photo?  Its marks then run across the picture."""

from __future__ import annotations

import numpy as np

from vision.graduations.search import longest_row
from vision.imaging.photo import Photo, photo_from_array
from vision.parameters import SOME_SCALE_MARKS
from vision.scale_file.scale import Scale
from vision.volume.locate import STRATEGIES, locate


def on_its_side(photo: Photo, scale: Scale) -> bool:
    """Whether the marks of the scale are found once the photo is turned by a quarter.

    A long even row of strokes that shows only in the turned photo is looked for first, which is
    cheap; blinds and radiators have such rows, too, so the scale then has to fit it.
    """
    upright = longest_row(photo.working_gray.astype(np.float32))
    crosswise = longest_row(np.rot90(photo.working_gray).astype(np.float32))
    if crosswise < SOME_SCALE_MARKS or crosswise <= upright:
        return False
    return any(locate(photo_from_array(np.rot90(photo.working_rgb, quarter).copy()), scale,
                      strategies=STRATEGIES[:1]) is not None for quarter in (1, 3))

"""Pictures for the screen: small JPEG copies, a close-up, and the way back.

A copy carries no camera data, because it is encoded from pixels alone.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image

from vision.reading import VolumeReading

LONGEST_PX = 1400


@dataclass(frozen=True)
class ScreenCopy:
    """A JPEG copy of a part of the upright photo.

    ``left``, ``top`` and ``scale`` lead back: photo pixel = copy pixel / scale
    + (left, top), both with the origin at the centre of the first pixel.
    """

    jpeg: bytes
    width: int
    height: int
    left: int
    top: int
    scale: float

    def to_photo(self, x: float, y: float, shown_width: float, shown_height: float
                 ) -> tuple[float, float] | None:
        """Photo pixel (x, y) of a tap at (x, y) in a picture shown at the given size.

        None when the browser had no size for the picture yet.
        """
        if shown_width <= 0 or shown_height <= 0:
            return None
        u = (x + 0.5) * self.width / shown_width / self.scale - 0.5 + self.left
        v = (y + 0.5) * self.height / shown_height / self.scale - 0.5 + self.top
        return u, v


def screen_copy(
    rgb: np.ndarray, box: tuple[int, int, int, int] | None = None, reduced: float = 1
) -> ScreenCopy:
    """A JPEG of an (H, W, 3) uint8 RGB picture, at most 1400 pixels on its longer side.

    ``box`` (left, top, right, bottom) in pixels of ``rgb`` takes a part of it.
    ``reduced`` is how many pixels of the photo one pixel of ``rgb`` spans.
    """
    left, top, right, bottom = box or (0, 0, rgb.shape[1], rgb.shape[0])
    part = Image.fromarray(np.ascontiguousarray(rgb[top:bottom, left:right]))
    scale = min(1.0, LONGEST_PX / max(part.size))
    if scale < 1.0:
        size = (max(1, round(part.width * scale)), max(1, round(part.height * scale)))
        part = part.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)
    out = io.BytesIO()
    part.save(out, "JPEG", quality=88)
    return ScreenCopy(out.getvalue(), part.width, part.height, round(left * reduced),
                      round(top * reduced), scale / reduced)


def close_up_box(
    reading: VolumeReading, width: int, height: int, reduced: float = 1
) -> tuple[int, int, int, int] | None:
    """(left, top, right, bottom) around everything the reading traced, with a margin,
    in a picture of ``width`` x ``height`` pixels, each ``reduced`` photo pixels wide;
    None where nothing was traced."""
    points = [t.points_px for t in reading.traces if len(t.points_px)]
    if not points:
        return None
    xy = np.concatenate(points) / reduced
    low, high = xy.min(axis=0), xy.max(axis=0)
    margin = 0.12 * float((high - low).max()) + 12
    left, top = (int(max(0, c - margin)) for c in low)
    right, bottom = int(min(width, high[0] + margin)), int(min(height, high[1] + margin))
    if right - left < 16 or bottom - top < 16:
        return None
    return left, top, right, bottom

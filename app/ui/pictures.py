"""Pictures for the screen: small JPEG copies, close-ups, and the way back from a tap.

A copy carries no camera data, because it is encoded from pixels alone.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image

from vision.imaging.photo import scaled_points

LONGEST_PX = 1400

#: left, top, right, bottom in pixels; right and bottom are the first ones outside.
Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class ScreenCopy:
    """A JPEG copy for the screen and its size in pixels."""

    jpeg: bytes
    width: int
    height: int


def to_photo(tap: tuple[float, float], shown: tuple[float, float], box: Box
             ) -> tuple[float, float] | None:
    """Photo pixel (x, y) of a tap in a picture of ``box`` shown ``shown`` pixels large.

    All pixels have their origin at the centre of the first one.  None when the
    browser had no size for the picture yet.
    """
    if shown[0] <= 0 or shown[1] <= 0:
        return None
    left, top, right, bottom = box
    x, y = scaled_points(tap, np.divide((right - left, bottom - top), shown)) + (left, top)
    return float(x), float(y)


def screen_copy(rgb: np.ndarray, box: Box | None = None) -> ScreenCopy:
    """A JPEG of an (H, W, 3) uint8 RGB picture, at most 1400 pixels on its longer side;
    ``box`` takes a part of it."""
    left, top, right, bottom = box or (0, 0, rgb.shape[1], rgb.shape[0])
    part = Image.fromarray(np.ascontiguousarray(rgb[top:bottom, left:right]))
    scale = min(1.0, LONGEST_PX / max(part.size))
    if scale < 1.0:
        size = (max(1, round(part.width * scale)), max(1, round(part.height * scale)))
        part = part.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)
    return ScreenCopy(encoded(part, 88), part.width, part.height)


def encoded(picture: Image.Image | np.ndarray, quality: int) -> bytes:
    """A JPEG of the pixels alone, as large as they are."""
    out = io.BytesIO()
    (Image.fromarray(picture) if isinstance(picture, np.ndarray) else picture).save(
        out, "JPEG", quality=quality)
    return out.getvalue()


def with_cross(rgb: np.ndarray, point: tuple[float, float]) -> np.ndarray:
    """A copy of ``rgb`` with a cross at ``point`` (x, y), black on white so that it shows
    on anything; its arms are a twelfth of the width and leave the point itself free."""
    drawn = rgb.copy()
    arm = max(6, drawn.shape[1] // 12)
    thick = max(1, arm // 14)
    x, y = round(point[0]), round(point[1])
    for extra, shade in ((thick, 255), (0, 0)):
        for near, far in ((-arm, -arm // 3), (arm // 3, arm)):
            _fill(drawn, x + near - extra, y - thick - extra, x + far + extra, y + thick + extra,
                  shade)
            _fill(drawn, x - thick - extra, y + near - extra, x + thick + extra, y + far + extra,
                  shade)
    return drawn


def _fill(rgb: np.ndarray, left: int, top: int, right: int, bottom: int, shade: int) -> None:
    rgb[max(0, top): max(0, bottom + 1), max(0, left): max(0, right + 1)] = shade


def band_around(rgb: np.ndarray, share: float) -> Box:
    """The band of a tall picture around the height ``share`` (0 top, 1 bottom)."""
    height, width = rgb.shape[:2]
    half = max(24, round(0.15 * height))
    top = min(max(0, round(share * height) - half), max(0, height - 2 * half))
    return 0, top, width, min(height, top + 2 * half)

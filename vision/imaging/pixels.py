"""A decoded picture in, upright RGB pixels out: colour mode, turn, blocks averaged."""

from __future__ import annotations

import numpy as np
from PIL import Image

#: What brings each orientation of Exif 2.32 upright: rows and columns changed places or not,
#: then the step along rows and along columns.
_TURN = {2: (False, 1, -1), 3: (False, -1, -1), 4: (False, -1, 1), 5: (True, 1, 1),
         6: (True, 1, -1), 7: (True, -1, -1), 8: (True, -1, 1)}
#: Rows that are brought to RGB at a time, so that a photo of 50 megapixels takes the memory of
#: the decoded picture and of its pixels (four and three bytes each), and no more.
_STRIP_ROWS = 256


def _rgb(im: Image.Image) -> Image.Image:
    """Any colour mode as 8-bit RGB; transparency becomes white."""
    if im.mode == "RGB" and "transparency" not in im.info:
        return im
    if im.mode.startswith("I"):
        deep = np.asarray(im).astype(np.float64)
        return Image.fromarray(np.clip(deep / 257.0 + 0.5, 0, 255).astype(np.uint8)).convert("RGB")
    if "transparency" in im.info or im.mode in ("LA", "PA", "La", "RGBA", "RGBa"):
        rgba = im.convert("RGBA")
        paper = Image.new("RGBA", rgba.size, (255, 255, 255, 255))
        return Image.alpha_composite(paper, rgba).convert("RGB")
    return im.convert("RGB")


def rgb_pixels(im: Image.Image) -> np.ndarray:
    """Decode: (H, W, 3) uint8 RGB of the picture as it is stored."""
    im.load()
    width, height = im.size
    out = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, _STRIP_ROWS):
        strip = im.crop((0, top, width, min(top + _STRIP_ROWS, height)))
        out[top:top + _STRIP_ROWS] = np.asarray(_rgb(strip))
    return out


def turned(rgb: np.ndarray, orientation: int) -> np.ndarray:
    """The picture upright, read-only."""
    across, down, along = _TURN.get(orientation, (False, 1, 1))
    return frozen((rgb.transpose(1, 0, 2) if across else rgb)[::down, ::along])


def reduced(rgb: np.ndarray, k: int) -> np.ndarray:
    """Mean over k x k blocks; rows and columns left over at the far ends are dropped."""
    h, w = (side // k for side in rgb.shape[:2])
    out = np.empty((h, w, 3), np.uint8)
    for top in range(0, h, _STRIP_ROWS):
        rows = rgb[top * k:min(top + _STRIP_ROWS, h) * k, :w * k]
        out[top:top + _STRIP_ROWS] = np.asarray(Image.fromarray(rows).reduce(k))
    return frozen(out)


def frozen(array: np.ndarray) -> np.ndarray:
    array = np.ascontiguousarray(array)
    array.flags.writeable = False
    return array

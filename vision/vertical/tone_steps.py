"""Whether a line of the photo is the border of something, or only a thin thing itself.

A cable, a cord or a seam has the same on both sides; the side of a board or of a pole
has another tone on the one side than on the other.
"""

from __future__ import annotations

import math

import numpy as np

from vision.vertical.cue import line_x

#: Thin things are at most this broad, mm; the tone is taken over a strip this broad beyond, px.
_THIN_MM, _STRIP_PX = 4.0, 6.0
#: The line is looked at in pieces of this height, px.
_PIECE_PX = 16
#: Tones differ when they do by so many code values of 255 and so many sigmas.
_DIFFER, _SIGMAS = 2.0, 4.0


def step_share(rgb: np.ndarray, line_px: np.ndarray, top: float, low: float, px_per_mm: float
               ) -> float:
    """Share of the height from ``top`` to ``low``, px, along which both sides differ in tone.

    ``rgb`` is (H, W, 3) uint8, ``line_px`` (2, 2) two points of the line.  What lies
    outside the photo does not count; 0 when nearly all of it does.
    """
    height, width = rgb.shape[:2]
    y = np.arange(max(0, math.ceil(top)), min(height - 1, math.floor(low)) + 1)
    pieces = len(y) // _PIECE_PX
    if pieces < 1:
        return 0.0
    y = y[: pieces * _PIECE_PX]
    off = _THIN_MM / 2 * px_per_mm + 2 + np.arange(_STRIP_PX)
    x = line_x(line_px, y.astype(float))
    sides = []
    whole = np.ones(pieces, dtype=bool)
    for sign in (-1, 1):
        at = np.rint(x[:, None] + sign * off).astype(int)
        whole &= ((at >= 0) & (at < width)).all(axis=1).reshape(pieces, -1).all(axis=1)
        tone = rgb[y[:, None], np.clip(at, 0, width - 1)].astype(float).mean(axis=1)
        sides.append(tone.reshape(pieces, _PIECE_PX, 3))
    if whole.sum() < max(1.0, 0.3 * pieces):
        return 0.0
    differ = np.linalg.norm(sides[1].mean(axis=1) - sides[0].mean(axis=1), axis=1)
    # The scatter from row to row, with the trend taken out; compression ties rows together.
    scatter = [np.var(np.diff(s, axis=1), axis=1).sum(axis=1) / 2 for s in sides]
    noise = np.sqrt((scatter[0] + scatter[1]) / (_PIECE_PX / 2))
    return float(np.mean((differ > np.maximum(_DIFFER, _SIGMAS * noise / math.sqrt(3)))[whole]))

"""Photo values as amounts of light."""

from __future__ import annotations

import numpy as np

_CODE = np.arange(256) / 255
#: sRGB decoding of 8-bit values to 0..1 (IEC 61966-2-1).
LINEAR = np.where(_CODE <= 0.04045, _CODE / 12.92, ((_CODE + 0.055) / 1.055) ** 2.4
                  ).astype(np.float32)
#: Weights of linear red, green, blue in luminance (ITU-R BT.709).
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


def luminance(rgb: np.ndarray) -> np.ndarray:
    """Linear-light luminance 0..1, (H, W) float32, of (H, W, 3) uint8 sRGB.

    Blur adds up in light, not in the coded values: an edge between dark and
    bright crosses half way at its true place only after decoding.
    """
    return np.ascontiguousarray(LINEAR[rgb] @ LUMINANCE)

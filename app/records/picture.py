"""A cropped picture of the chamber that a person chose to keep as evidence.

Made from pixels alone, so nothing of the photo file survives: no place, no time,
no device.  By default nothing is kept.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass

import numpy as np

from app.records.errors import ConfirmError

#: Longest side in pixels and JPEG quality: enough to read a scale again, small enough to keep.
LONGEST_SIDE = 1400
QUALITY = 85


@dataclass(frozen=True)
class KeptPicture:
    """A JPEG without any metadata, and its SHA-256 in hex."""

    jpeg: bytes
    sha256: str

    @classmethod
    def of(cls, rgb: np.ndarray) -> KeptPicture:
        """From (H, W, 3) uint8 RGB pixels, usually a crop around the chamber."""
        from PIL import Image

        if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or 0 in rgb.shape:
            raise ConfirmError("Only a colour picture of the chamber can be kept.")
        image = Image.fromarray(rgb)
        image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
        out = io.BytesIO()
        image.save(out, "JPEG", quality=QUALITY)
        return cls(out.getvalue(), hashlib.sha256(out.getvalue()).hexdigest())

    @property
    def whole(self) -> bool:
        """True when the bytes are those that the hash was made of."""
        return hashlib.sha256(self.jpeg).hexdigest() == self.sha256

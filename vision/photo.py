"""Photo in: from bytes to upright pixels and the camera facts that matter."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

from vision.errors import PhotoError


@dataclass(frozen=True)
class CameraFacts:
    """What the photo says of the camera, and nothing that identifies it.

    ``focal_35mm`` is the 35 mm-equivalent focal length (by the diagonal), None
    when the photo does not say; ``digital_zoom`` is 1 without zoom.
    """

    focal_35mm: float | None = None
    digital_zoom: float = 1.0


@dataclass(frozen=True)
class Photo:
    """An upright photo: (H, W, 3) uint8 RGB, its camera facts and its digest."""

    rgb: np.ndarray
    camera: CameraFacts
    sha256: str
    name: str = ""

    @property
    def width(self) -> int:
        """Width in pixels of the upright picture."""
        return int(self.rgb.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels of the upright picture."""
        return int(self.rgb.shape[0])


def load_photo(source: bytes | str | Path) -> Photo:
    """Decode a photo from bytes or a file (to be hardened with limits and formats)."""
    import hashlib
    import io

    data = source if isinstance(source, bytes) else Path(source).read_bytes()
    try:
        im = Image.open(io.BytesIO(data))
        ifd = im.getexif().get_ifd(0x8769)
        im = ImageOps.exif_transpose(im).convert("RGB")
    except Exception:
        raise PhotoError("This file is not a photo that can be opened.") from None
    f35 = ifd.get(41989)
    return Photo(np.asarray(im), CameraFacts(float(f35) if f35 else None),
                 hashlib.sha256(data).hexdigest())

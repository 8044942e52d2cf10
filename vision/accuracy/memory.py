"""Peak memory of one reading for photos at the limit of what is taken, by kind of file.

Run ``python -m vision.accuracy.memory``: it prints one JSON object and ends with 1 where a
kind takes more than is allowed.  Every kind is read in a fresh process.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from typing import Any

import numpy as np
from PIL import Image

from vision.accuracy.speed import MOST_MEMORY_MB, peak_memory_mb

#: 50 megapixels, as MAX_PIXELS of vision.imaging.photo allows them.
SIZE = (6144, 8192)
#: Exif's turn that changes rows and columns: the picture is copied once more.
_ON_ITS_SIDE = 6


def largest_photos(size: tuple[int, int] = SIZE) -> Iterator[tuple[str, bytes]]:
    """(kind, file) of one of our scenes, enlarged to ``size`` (width, height in pixels)."""
    import cv2
    import pillow_heif

    from vision.synthetic.chamber.dataset import scene_for
    from vision.synthetic.chamber.render import render_scene

    pillow_heif.register_heif_opener()
    small = render_scene(scene_for(12, 0, "easy", None, (900, 1200)))
    plain = Image.fromarray(cv2.resize(small, size, interpolation=cv2.INTER_NEAREST))
    deep = np.asarray(plain.convert("L")).astype(np.uint16) * 257
    odd = plain.crop((0, 0, size[0] - 1, size[1] - 1))
    png: dict[str, Any] = {"format": "PNG", "compress_level": 1}
    for kind, picture, options in (
            ("JPEG", plain, {"format": "JPEG"}),
            ("JPEG, progressive", plain, {"format": "JPEG", "progressive": True}),
            ("JPEG, odd sides", odd, {"format": "JPEG"}),
            ("JPEG, CMYK, odd sides", odd.convert("CMYK"), {"format": "JPEG"}),
            ("PNG", plain, png), ("PNG, transparent", plain.convert("RGBA"), png),
            ("PNG, 16 bit", Image.fromarray(deep), png),
            ("WebP", plain, {"format": "WEBP", "method": 0}),
            ("WebP, transparent", plain.convert("RGBA"), {"format": "WEBP", "method": 0}),
            ("HEIC", plain, {"format": "HEIF"})):
        exif, out = Image.Exif(), io.BytesIO()
        exif[0x0112] = _ON_ITS_SIDE
        picture.save(out, exif=exif, **options)
        yield kind, out.getvalue()


def main() -> int:
    """Print the peaks in MB (1e6 bytes); 1 when one is too large."""
    from vision.synthetic.chamber.dataset import scene_for

    scale = scene_for(12, 0, "easy").scale.name
    peaks = {kind: round(peak_memory_mb(data, scale)) for kind, data in largest_photos()}
    met = max(peaks.values()) <= MOST_MEMORY_MB
    sys.stdout.write(json.dumps({"peak_mb": peaks, "most_mb": MOST_MEMORY_MB, "met": met},
                                indent=1) + "\n")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())

"""Small pictures for the report: the part that matters, with read and true level marked."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import TYPE_CHECKING

from vision.accuracy.labels import Point, point_of
from vision.accuracy.rows import Row

if TYPE_CHECKING:
    from PIL import Image

_READ, _TRUE = (224, 108, 32), (24, 140, 84)


def picture_address(row: Row, folder: Path, side: int = 420) -> str | None:
    """A small JPEG as a data address, None when the picture cannot be opened.

    Cut to the labelled ends of the scale where the label gives them; a line at
    the reading (orange, left) and at the truth (green, right) where known.
    """
    from PIL import Image, ImageOps

    try:
        with Image.open(folder / row.file) as opened:
            full = opened.size
            opened.draft("RGB", (4 * side, 4 * side))
            small = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError, Image.DecompressionBombError):
        return None
    shrunk = max(small.size) / max(full)
    read, true = row.surface_px, point_of(row.keys.get("surface_px"))
    ends = [p for key in ("lowest_mark_px", "highest_mark_px")
            if (p := point_of(row.keys.get(key)))]
    box = _box([p for p in (*ends, read, true) if p] if len(ends) == 2 else [], small, shrunk)
    part = small.crop(box)
    before = part.size
    part.thumbnail((side, side))
    scale = shrunk * part.size[0] / before[0]
    corner = (box[0] / shrunk, box[1] / shrunk)
    for point, color, way in ((read, _READ, -1), (true, _TRUE, 1)):
        if point is not None:
            x, y = ((c - c0) * scale for c, c0 in zip(point, corner, strict=True))
            _line(part, (x, y), color, way)
    out = io.BytesIO()
    part.save(out, "JPEG", quality=80)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()


def _box(points: list[Point], image: Image.Image, shrunk: float) -> tuple[int, int, int, int]:
    """Round the points with a margin, inside the picture; the whole picture without points."""
    width, height = image.size
    if not points:
        return 0, 0, width, height
    xs, ys = [p[0] * shrunk for p in points], [p[1] * shrunk for p in points]
    margin = 0.3 * max(max(xs) - min(xs), max(ys) - min(ys)) + 10
    return (int(max(0, min(xs) - margin)), int(max(0, min(ys) - margin)),
            int(min(width, max(xs) + margin)), int(min(height, max(ys) + margin)))


def _line(image: Image.Image, at: Point, color: tuple[int, int, int], way: int) -> None:
    from PIL import ImageDraw

    reach = way * image.size[0] * 0.3
    draw = ImageDraw.Draw(image)
    draw.line([at, (at[0] + reach, at[1])], fill=(255, 255, 255), width=5)
    draw.line([at, (at[0] + reach, at[1])], fill=color, width=3)

"""What is printed on the outside of a traced chamber: an opacity map over the unrolled wall."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.scale_file.scale import Scale

#: Pixels per mm of the map, and how far round the front it reaches either way (degrees) where no
#: mark runs right round.
PX_PER_MM, REACH_DEG = 16, 100.0
_FONTS = Path("/usr/share/fonts/truetype/dejavu")


@dataclass(frozen=True)
class Ink:
    """How the scale is printed; lengths in mm along the wall, ``side`` of the numerals -1 left;
    ``round`` says which marks run right round the tube: none, long or all."""

    short_mm: float = 7.0
    long_mm: float = 12.0
    stroke_mm: float = 0.4
    align: float = 0.0
    side: int = -1
    numeral_mm: float = 3.4
    gap_mm: float = 1.2
    font: str = ""
    rgb: tuple[float, float, float] = (0.03, 0.03, 0.03)
    opacity: float = 0.95
    jitter_mm: float = 0.0
    spine: bool = False
    round: str = "none"

    @property
    def reach_deg(self) -> float:
        """How far round the front there is ink, either way."""
        return REACH_DEG if self.round == "none" else 180.0


def opacity_map(scale: Scale, ink: Ink, radius_mm: float, low_mm: float, high_mm: float,
                seed: int = 0) -> np.ndarray:
    """(H, W) float32 share of light that the ink stops; top row at ``high_mm``, left column
    ``ink.reach_deg`` left of the front."""
    half = radius_mm * np.radians(ink.reach_deg)
    h, w = int((high_mm - low_mm) * PX_PER_MM), int(2 * half * PX_PER_MM)
    out = np.zeros((h, w), np.float32)
    z = high_mm - (np.arange(h) + 0.5) / PX_PER_MM
    x = (np.arange(w) + 0.5) / PX_PER_MM - half
    jitter = np.random.default_rng(seed).normal(0.0, ink.jitter_mm, len(scale.marks))
    spare = 0.5 * (ink.long_mm - ink.short_mm)
    for mark, off in zip(scale.marks, jitter, strict=True):
        length = ink.long_mm if mark.length == "long" else ink.short_mm
        if ink.round == "all" or ink.round == mark.length:
            length = 4 * half
        centre = 0.0 if mark.length == "long" else ink.align * spare
        stroke = _cover(z - mark.height_mm - off, ink.stroke_mm)[:, None] * _cover(
            x - centre, length)[None]
        np.maximum(out, stroke, out=out)
        if mark.label:
            _paste(out, mark.text, ink, mark.height_mm + off, half, high_mm)
    if ink.spine:
        ends = scale.lowest_mark.height_mm, scale.highest_mark.height_mm
        at = ink.align * 0.5 * ink.long_mm if ink.align else -ink.side * 0.5 * ink.long_mm
        np.maximum(out, _cover(z - sum(ends) / 2, abs(ends[1] - ends[0]))[:, None]
                   * _cover(x - at, ink.stroke_mm)[None], out=out)
    return out * ink.opacity


def _cover(distance_mm: np.ndarray, width_mm: float) -> np.ndarray:
    """How much of each pixel lies within a stroke."""
    return np.clip(0.5 + (0.5 * width_mm - np.abs(distance_mm)) * PX_PER_MM, 0, 1).astype(
        np.float32)


def _paste(out: np.ndarray, text: str, ink: Ink, height_mm: float, half: float, high: float
           ) -> None:
    """Put a numeral beside its long mark, its middle at the mark's height."""
    file = _FONTS / f"{ink.font}.ttf"
    size = ink.numeral_mm * PX_PER_MM / 0.73  # figures are 0.73 of a font's size
    font = ImageFont.truetype(str(file), size) if file.exists() else ImageFont.load_default(size)
    left, top, right, bottom = font.getbbox(text)
    image = Image.new("L", (int(right - left) + 2, int(bottom - top) + 2))
    ImageDraw.Draw(image).text((1 - left, 1 - top), text, fill=255, font=font)
    glyph = np.asarray(image, np.float32) / 255
    edge = half + ink.side * (ink.long_mm / 2 + ink.gap_mm)
    x0 = int(edge * PX_PER_MM) - (glyph.shape[1] if ink.side < 0 else 0)
    y0 = int((high - height_mm) * PX_PER_MM) - glyph.shape[0] // 2
    y1, x1 = y0 + glyph.shape[0], x0 + glyph.shape[1]
    if y0 >= 0 and x0 >= 0 and y1 <= out.shape[0] and x1 <= out.shape[1]:
        np.maximum(out[y0:y1, x0:x1], glyph, out=out[y0:y1, x0:x1])

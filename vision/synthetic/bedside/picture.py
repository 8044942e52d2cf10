"""From light to a JPEG: blur, exposure, noise, tone, compression, metadata."""

from __future__ import annotations

import io

import cv2
import numpy as np
from PIL import Image

from vision.synthetic.bedside.canvas import ROWS_AT_ONCE


def develop(light: np.ndarray, rng: np.random.Generator, smeared: bool
            ) -> tuple[np.ndarray, dict[str, float]]:
    """(H, W, 3) uint8 sRGB and what was done to it."""
    blur = float(rng.choice([rng.uniform(0.3, 0.8), rng.uniform(0.8, 1.6)]))
    if smeared:
        blur = float(rng.uniform(14, 20))
    light = cv2.GaussianBlur(light, (0, 0), blur)
    exposure = float(rng.uniform(0.7, 1.5)) / max(float(np.quantile(light, 0.9)), 1e-3)
    electrons = float(10 ** rng.uniform(2.7, 4.0))  # full well: low light at the low end
    code = np.empty_like(light)
    for top in range(0, len(light), ROWS_AT_ONCE):
        part = light[top: top + ROWS_AT_ONCE] * exposure * 0.8
        noise = rng.normal(0, 1, part.shape).astype(np.float32)
        part = part + noise * np.sqrt(np.maximum(part, 0) / electrons + (3 / electrons) ** 2)
        part = np.clip(part, 0, 1)
        code[top: top + ROWS_AT_ONCE] = np.where(
            part <= 0.0031308, 12.92 * part, 1.055 * part ** (1 / 2.4) - 0.055)
    if rng.random() < 0.3:  # phones sharpen
        soft = cv2.GaussianBlur(code, (0, 0), 1.2)
        code = code + 0.5 * (code - soft)
    rgb = np.clip(np.rint(code * 255), 0, 255).astype(np.uint8)
    return rgb, {"blur_px": blur, "full_well_e": electrons}


def jpeg(rgb: np.ndarray, rng: np.random.Generator, f35: float | None, sideways: bool) -> bytes:
    """The photo as a phone would write it; ``sideways`` stores it turned, with the tag."""
    image = Image.fromarray(rgb)
    exif = Image.Exif()
    if f35 is not None:
        exif.get_ifd(0x8769)[41989] = int(round(f35))
    if sideways:
        image = image.transpose(Image.Transpose.ROTATE_90)
        exif[0x0112] = 6
    out = io.BytesIO()
    image.save(out, "JPEG", quality=int(rng.integers(80, 97)), exif=exif)
    return out.getvalue()

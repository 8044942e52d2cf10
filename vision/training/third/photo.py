"""From light to a phone's picture file: lens, sensor, the phone's own processing, JPEG, Exif."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from vision.training.third.draws import Capture

#: How the stored picture has to be turned for each Exif orientation so that a viewer who obeys
#: the tag (0x0112, Exif 2.32) shows it upright.
_STORED = {1: None, 3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_90,
           8: Image.Transpose.ROTATE_270}


def developed(light: np.ndarray, how: Capture, seed: int) -> np.ndarray:
    """(H, W, 3) uint8 of the upright picture from (H, W, 3) linear light."""
    rng = np.random.default_rng(seed)
    image = cv2.GaussianBlur(light, (0, 0), how.soft_px)
    if how.shake_px > 1:
        image = cv2.filter2D(image, -1, _shaken(how.shake_px, how.shake_deg))
    image = np.clip(image, 0, None) * np.array(how.cast, np.float32)
    h, w = image.shape[:2]
    middle = image[h // 6:-h // 6, w // 5:-w // 5]
    image = image * (how.exposure / max(float(np.percentile(middle.mean(2), 80)), 1e-6))
    glow = cv2.GaussianBlur(np.minimum(image, 4), (0, 0), image.shape[0] / 14)
    image = (1 - how.veil) * image + how.veil * (0.5 * glow + 0.5 * float(glow.mean()))
    shot = how.noise * np.sqrt(np.clip(image, 0, 1) * 0.6 + 0.04)
    image = image + shot * rng.standard_normal(image.shape).astype(np.float32)
    knee = np.where(image > 0.75, 0.75 + 0.25 * np.tanh((image - 0.75) / 0.25), image)
    tone = np.clip(knee, 0, 1) ** (1 / 2.2)
    tone = tone + how.contrast * tone * (1 - tone) * (tone - 0.5) * 1.6
    eight = (np.clip(tone, 0, 1) * 255 + 0.5).astype(np.uint8)
    if how.denoise:
        eight = cv2.fastNlMeansDenoisingColored(eight, None, how.denoise, how.denoise + 3, 5, 11)
    bright, *colours = cv2.split(cv2.cvtColor(eight, cv2.COLOR_RGB2YCrCb).astype(np.float32))
    bright = bright + how.sharpen * (bright - cv2.GaussianBlur(bright, (0, 0), 1.4))
    colours = [(c - 128) * how.vividness + 128 for c in colours]
    out = np.clip(cv2.merge([bright, *colours]) + 0.5, 0, 255).astype(np.uint8)
    return np.asarray(cv2.cvtColor(out, cv2.COLOR_YCrCb2RGB))


def _shaken(length_px: float, angle_deg: float) -> np.ndarray:
    """A hand's movement during the exposure: a line of equal weights."""
    half = int(np.ceil(length_px))
    kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
    a = np.radians(angle_deg)
    for t in np.linspace(-length_px / 2, length_px / 2, 41):
        kernel[int(round(half - t * np.sin(a))), int(round(half + t * np.cos(a)))] += 1
    return kernel / kernel.sum()


def store(upright: np.ndarray, path: Path, f35_mm: float, how: Capture) -> None:
    """Write the picture as a phone held that way stores it."""
    image = Image.fromarray(upright)
    turn = _STORED[how.orientation]
    if turn is not None:
        image = image.transpose(turn)
    exif = Image.Exif()
    exif[0x0112] = how.orientation
    exif.get_ifd(0x8769)[0xA405] = round(f35_mm)
    part = path.with_suffix(".part")
    image.save(part, format="JPEG", quality=how.jpeg, exif=exif)
    part.replace(path)

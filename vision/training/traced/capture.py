"""From traced light to a photo file: lens, sensor, a phone's processing, JPEG and Exif."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from vision.training.traced.view import Pose

_EXIF_IFD, _FOCAL_35MM, _ORIENTATION = 0x8769, 0xA405, 0x0112
#: Quarter turns (counter-clockwise) of the upright picture for each Exif orientation: what a
#: viewer undoes (Exif 2.32, tag 0x0112: 6 is shown turned clockwise, 8 counter-clockwise).
_TURNS = {1: 0, 3: 2, 6: 1, 8: 3}


def photographed(light: np.ndarray, pose: Pose, capture: dict[str, Any], seed: int) -> np.ndarray:
    """(H, W, 3) uint8 of the upright photo from (H, W, 3) linear light."""
    rng = np.random.default_rng(seed)
    image = _through_lens(light, pose)
    image = cv2.GaussianBlur(image, (0, 0), max(capture["blur_px"], 0.3))
    white = float(np.percentile(image.mean(2), 90))
    image = image * (capture["exposure"] / max(white, 1e-6)) * np.array(capture["cast"])
    image = image * (1 - capture["veil"]) + capture["veil"] * 0.6 * capture["exposure"]
    sd = capture["grain"] * np.sqrt(0.05 + np.clip(image, 0, 1))
    image = np.clip(image + sd * rng.standard_normal(image.shape), 0, 1)
    tone = np.where(image <= 0.0031308, 12.92 * image, 1.055 * image ** (1 / 2.4) - 0.055)
    photo = tone.astype(np.float32)
    if capture["smooth"]:
        photo = cv2.bilateralFilter(photo, 5, 0.06, 1.5)
    if capture["sharpen"]:
        photo = photo + capture["sharpen"] * (photo - cv2.GaussianBlur(photo, (0, 0), 1.2))
    return np.asarray(np.clip(photo * 255 + 0.5, 0, 255), np.uint8)


def _through_lens(light: np.ndarray, pose: Pose) -> np.ndarray:
    """Radial distortion: where a pinhole would have seen what each pixel sees."""
    if not pose.k1:
        return light
    w, h = pose.size
    x, y = np.meshgrid(np.arange(w) - (w - 1) / 2, np.arange(h) - (h - 1) / 2)
    seen = np.stack([x, y], -1) / pose.focal_px
    q = seen.copy()
    for _ in range(6):
        q = seen / (1 + pose.k1 * (q**2).sum(-1, keepdims=True))
    at = (q * pose.focal_px + np.array([(w - 1) / 2, (h - 1) / 2])).astype(np.float32)
    return np.asarray(cv2.remap(light, at[..., 0], at[..., 1], cv2.INTER_CUBIC,
                                borderMode=cv2.BORDER_REPLICATE))


def save(rgb: np.ndarray, path: Path, f35: float, quality: int, orientation: int) -> None:
    """Write the upright picture as a camera held that way would store it."""
    exif = Image.Exif()
    exif[_ORIENTATION] = orientation
    exif.get_ifd(_EXIF_IFD)[_FOCAL_35MM] = int(round(f35))
    part = path.with_suffix(".part")
    Image.fromarray(np.ascontiguousarray(np.rot90(rgb, _TURNS[orientation]))).save(
        part, format="JPEG", quality=quality, exif=exif)
    part.replace(path)

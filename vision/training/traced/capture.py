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


def white_of(light: np.ndarray) -> float:
    """What an automatic exposure takes for white in (H, W, 3) linear light."""
    return max(float(np.percentile(light.mean(2), 90)), 1e-6)


def photographed(light: np.ndarray, pose: Pose, capture: dict[str, Any], seed: int,
                 white: float | None = None, corner: tuple[int, int] = (0, 0)) -> np.ndarray:
    """(H, W, 3) uint8 of the upright photo from (H, W, 3) linear light, or of a part of it whose
    left top pixel is ``corner``, exposed for ``white``."""
    rng = np.random.default_rng(seed)
    image = _through_lens(light.astype(np.float32), pose, corner)
    image = cv2.GaussianBlur(image, (0, 0), max(capture["blur_px"], 0.3))
    gain = capture["exposure"] / (white or white_of(image)) * np.array(capture["cast"])
    image *= gain.astype(np.float32)
    image = image * (1 - capture["veil"]) + capture["veil"] * 0.6 * capture["exposure"]
    grain = rng.standard_normal(image.shape, dtype=np.float32)
    grain *= np.sqrt(0.05 + np.clip(image, 0, 1))
    image = np.clip(image + np.float32(capture["grain"]) * grain, 0, 1)
    photo = np.where(image <= 0.0031308, 12.92 * image,
                     1.055 * image ** np.float32(1 / 2.4) - 0.055)
    if capture["smooth"]:
        photo = cv2.bilateralFilter(photo, 5, 0.06, 1.5)
    if capture["sharpen"]:
        photo = photo + capture["sharpen"] * (photo - cv2.GaussianBlur(photo, (0, 0), 1.2))
    return np.asarray(np.clip(photo * 255 + 0.5, 0, 255), np.uint8)


def _through_lens(light: np.ndarray, pose: Pose, corner: tuple[int, int]) -> np.ndarray:
    """Radial distortion: where a pinhole would have seen what each pixel sees."""
    if not pose.k1:
        return light
    (w, h), (rows, columns) = pose.size, light.shape[:2]
    origin = np.array([(w - 1) / 2 - corner[0], (h - 1) / 2 - corner[1]], np.float32)
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    seen = (np.stack([x, y], -1) - origin) / np.float32(pose.focal_px)
    q = seen
    for _ in range(6):
        q = seen / (1 + np.float32(pose.k1) * (q[..., :1] ** 2 + q[..., 1:] ** 2))
    at = q * np.float32(pose.focal_px) + origin
    return np.asarray(cv2.remap(light, at[..., 0], at[..., 1], cv2.INTER_CUBIC,
                                borderMode=cv2.BORDER_REPLICATE))


def compressed(rgb: np.ndarray, quality: int) -> np.ndarray:
    """(H, W, 3) uint8 as a JPEG file of that quality gives it back."""
    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    seen = cv2.imdecode(data, cv2.IMREAD_COLOR)
    assert seen is not None
    return np.ascontiguousarray(seen[..., ::-1])


def save(rgb: np.ndarray, path: Path, f35: float, quality: int, orientation: int) -> None:
    """Write the upright picture as a camera held that way would store it."""
    exif = Image.Exif()
    exif[_ORIENTATION] = orientation
    exif.get_ifd(_EXIF_IFD)[_FOCAL_35MM] = int(round(f35))
    part = path.with_suffix(".part")
    Image.fromarray(np.ascontiguousarray(np.rot90(rgb, _TURNS[orientation]))).save(
        part, format="JPEG", quality=quality, exif=exif)
    part.replace(path)

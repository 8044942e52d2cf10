"""From linear light to the file a phone stores: lens, mosaic sensor, processing, JPEG, Exif."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from vision.training.fourth.phone_facts import Phone

#: Quarter turns against the clock of the stored pixels for each Exif orientation (CIPA DC-008).
_QUARTERS = {1: 0, 3: 2, 6: 1, 8: 3}
#: Shares of red, green and blue in luminance (ITU-R BT.709).
_LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)


def photographed(light: np.ndarray, how: Phone, seed: int) -> np.ndarray:
    """(H, W, 3) uint8, upright, of (H, W, 3) float linear light."""
    rng = np.random.default_rng([seed, 77])
    light = _through_lens(np.maximum(light, 0).astype(np.float32), how)
    h, w = light.shape[:2]
    centre = light[h // 8:h - h // 8, w // 6:w - w // 6] @ _LUMA
    grey = float(np.exp(np.log(np.maximum(centre, 1e-5)).mean()))
    # phones hold back where much of the picture would be burnt out
    bright = float(np.percentile(light @ _LUMA, 96))
    light = light * np.float32(min(0.19 / grey, 0.95 / max(bright, 1e-5)) * 2**how.ev)
    raw = _sensor(light, how, rng)
    linear = cv2.cvtColor(raw, cv2.COLOR_BayerBG2RGB_EA).astype(np.float32) / 65535
    tone = _tone(linear, how.filmic)
    ycc = cv2.cvtColor(tone, cv2.COLOR_RGB2YCrCb)
    luma, colour = ycc[..., 0], ycc[..., 1:]
    if how.chroma_smoothing:
        colour = cv2.blur(colour, (how.chroma_smoothing, how.chroma_smoothing))
    if how.luma_smoothing > 1:
        luma = cv2.bilateralFilter(luma, 5, how.luma_smoothing / 255 * 2.5, 1.6)
    detail = luma - cv2.GaussianBlur(luma, (0, 0), 1.1)
    luma = luma + how.edge_gain * np.clip(detail, -0.08, 0.08)
    colour = (colour - 0.5) * how.saturation + 0.5
    out = cv2.cvtColor(np.dstack([luma, colour]).astype(np.float32), cv2.COLOR_YCrCb2RGB)
    return np.asarray(np.clip(out * 255 + 0.5, 0, 255), np.uint8)


def _through_lens(light: np.ndarray, how: Phone) -> np.ndarray:
    light = cv2.GaussianBlur(light, (0, 0), how.softness_px)
    dx, dy = how.smear
    if dx or dy:
        steps = np.linspace(-0.5, 0.5, 15)
        h, w = light.shape[:2]
        light = np.mean([cv2.warpAffine(light, np.array([[1, 0, t * dx], [0, 1, t * dy]]),
                                        (w, h), borderMode=cv2.BORDER_REPLICATE)
                         for t in steps], axis=0)
    if how.glow:
        small = cv2.resize(np.minimum(light, 8), None, fx=1 / 8, fy=1 / 8,
                           interpolation=cv2.INTER_AREA)
        wide = cv2.GaussianBlur(small, (0, 0), small.shape[0] / 6)
        wide = cv2.resize(wide, light.shape[1::-1], interpolation=cv2.INTER_LINEAR)
        light = (1 - how.glow) * light + how.glow * wide
    h, w = light.shape[:2]
    y, x = np.mgrid[-1:1:h * 1j, -1:1:w * 1j]
    dark = 1 - how.falloff * 0.5 * (x**2 + y**2)
    return np.asarray(light * dark[..., None] * [how.warm, 1, 1 / how.warm], np.float32)


def _sensor(light: np.ndarray, how: Phone, rng: np.random.Generator) -> np.ndarray:
    """(H, W) uint16 behind a colour mosaic (OpenCV's BayerBG), with counted light."""
    h, w = light.shape[:2]
    which = np.array([[0, 1], [1, 2]])  # the pattern that BayerBG2RGB undoes: see the test
    index = np.tile(which, (h // 2 + 1, w // 2 + 1))[:h, :w]
    one = np.take_along_axis(light, index[..., None], axis=2)[..., 0]
    counted = rng.poisson(np.clip(one, 0, 1.2) * how.well) / how.well
    noisy = counted + how.read_noise * rng.standard_normal((h, w))
    return np.asarray(np.clip(noisy, 0, 1) * 65535 + 0.5, np.uint16)


def _tone(linear: np.ndarray, filmic: float) -> np.ndarray:
    """sRGB's curve (IEC 61966-2-1), mixed with one that has a toe and a shoulder."""
    x = np.clip(linear, 0, 1)
    srgb = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-6) ** (1 / 2.4) - 0.055)
    curved = srgb * srgb * (3 - 2 * srgb)
    return np.asarray((1 - 0.45 * filmic) * srgb + 0.45 * filmic * curved, np.float32)


def store(upright: np.ndarray, path: Path, f35_mm: float, how: Phone) -> None:
    """Write the picture with its pixels turned as the sensor was."""
    image = Image.fromarray(np.ascontiguousarray(np.rot90(upright, _QUARTERS[how.orientation])))
    exif = Image.Exif()
    exif[0x0112] = how.orientation
    exif.get_ifd(0x8769)[0xA405] = round(f35_mm)
    unfinished = path.with_name(path.name + ".part")
    image.save(unfinished, "JPEG", quality=how.jpeg, exif=exif)
    unfinished.replace(path)

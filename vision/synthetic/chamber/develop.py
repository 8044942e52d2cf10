"""From light to pixels: lens blur, exposure, noise, tone, quantisation."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.synthetic.chamber.model import Capture

#: Pixels developed at a time on a processor.
BAND = 16_000


def margin_px(capture: Capture) -> int:
    """How far a pixel's value reaches into its neighbourhood."""
    return int(math.ceil(3 * capture.blur_px + capture.motion_px / 2
                         + 2 * capture.noise_grain_px + (3 if capture.halo else 0))) + 1


def _smear(image: Any, kernel: list[float], axis: int, xp: Any) -> Any:
    """Correlate along an axis with edges repeated."""
    half = len(kernel) // 2
    pad = [(0, 0)] * image.ndim
    pad[axis] = (half, half)
    wide = xp.pad(image, pad, mode="edge")
    n = image.shape[axis]
    out = None
    for i, k in enumerate(kernel):
        part = wide[i:i + n] if axis == 0 else wide[:, i:i + n]
        out = part * k if out is None else out + part * k
    return out


def gaussian(image: Any, sigma: float, xp: Any) -> Any:
    """Gaussian blur of an (H, W[, 3]) array; sigma in pixels."""
    if sigma < 0.05:
        return image
    half = int(math.ceil(3 * sigma))
    kernel = [math.exp(-0.5 * (i / sigma) ** 2) for i in range(-half, half + 1)]
    total = sum(kernel)
    kernel = [k / total for k in kernel]
    if xp is np:  # the same sums, three times as fast
        import cv2

        taps = np.array(kernel, np.float32)
        return cv2.sepFilter2D(image, -1, taps, taps, borderType=cv2.BORDER_REPLICATE)
    return _smear(_smear(image, kernel, 0, xp), kernel, 1, xp)


def _shake(image: Any, length: float, angle_deg: float, xp: Any) -> Any:
    """Blur along a straight path of a hand-held camera (whole-pixel steps)."""
    steps = max(int(round(length)), 1)
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    reach = int(math.ceil(length / 2)) + 1
    wide = xp.pad(image, [(reach, reach), (reach, reach), (0, 0)], mode="edge")
    h, w = image.shape[:2]
    out = 0.0
    for i in range(steps + 1):
        at = (i / steps - 0.5) * length
        y, x = reach + int(round(s * at)), reach + int(round(c * at))
        out = out + wide[y:y + h, x:x + w]
    return out / (steps + 1)


def _tone_curve(contrast: float) -> np.ndarray:
    """sRGB values of evenly spaced linear values (IEC 61966-2-1), with added contrast."""
    x = np.linspace(0, 1, 1 << 16)
    tone = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
    tone = tone + contrast * (tone - 0.5) * tone * (1 - tone) * 4
    return np.clip(tone, 0, 1).astype(np.float32)


def develop(light: Any, capture: Capture, seed: int, xp: Any,
            place: tuple[float, float, float, float]) -> Any:
    """(H, W, 3) linear light (white card = 1) to (H, W, 3) uint8 sRGB.

    ``place`` is (x0, y0, width, height): where this piece lies in the whole
    picture, for the vignette.
    """
    h, w = light.shape[:2]
    image = xp.minimum(light * float(capture.exposure), 4.0)
    image = gaussian(image, capture.blur_px, xp)
    if capture.motion_px >= 0.75:
        image = _shake(image, capture.motion_px, capture.motion_deg, xp)
    source, grain = xp.random.default_rng(seed), None
    if capture.noise_grain_px and (capture.read_noise or capture.shot_noise):
        sigma = capture.noise_grain_px
        grain = gaussian(source.standard_normal((h, w, 3), dtype=xp.float32), sigma, xp)
        grain = grain * (2 * math.sqrt(math.pi) * max(sigma, 0.35))
    curve = xp.asarray(_tone_curve(capture.contrast))
    # Rows that stay near the processor; each pixel by itself.
    step = max(BAND // w, 1) if xp is np else h
    bands = [(i, min(i + step, h)) for i in range(0, h, step)]
    tone = xp.zeros((h, w, 3), dtype=xp.float32)
    for i, end in bands:
        part = _exposed(image[i:end], capture, xp, (place[0], place[1] + i, *place[2:]))
        if capture.read_noise or capture.shot_noise:
            noise = (source.standard_normal(part.shape, dtype=xp.float32) if grain is None
                     else grain[i:end])
            # in one place, which is quicker
            grainy = xp.clip(part, 0, 1)
            grainy *= capture.shot_noise**2
            grainy += capture.read_noise**2
            grainy = xp.sqrt(grainy)
            grainy *= noise
            part += grainy
        at = xp.clip(part, 0, 1)
        at *= len(curve) - 1
        at += 0.5
        tone[i:end] = curve.take(at.astype(xp.int32))
    if capture.halo:
        tone = tone + capture.halo * (tone - gaussian(tone, 1.2, xp))
    out = xp.zeros((h, w, 3), dtype=xp.uint8)
    for i, end in bands:
        out[i:end] = xp.clip(tone[i:end] * 255 + 0.5, 0, 255).astype(xp.uint8)
    return out


def _exposed(image: Any, capture: Capture, xp: Any,
             place: tuple[float, float, float, float]) -> Any:
    """Light with the lens's veil and vignette and the camera's white balance."""
    h, w = image.shape[:2]
    x0, y0, width, height = place
    if capture.veil:
        image = image * (1 - capture.veil) + capture.veil * 0.6 * float(capture.exposure)
    if capture.vignette:
        x = (xp.arange(w, dtype=xp.float32) + (x0 - width / 2)) / (width / 2)
        y = (xp.arange(h, dtype=xp.float32) + (y0 - height / 2)) / (height / 2)
        image = image * (1 - capture.vignette * 0.5 * (x * x + (y * y)[:, None]))[..., None]
    return image * xp.asarray(capture.white_balance, dtype=xp.float32)

"""Small worlds for the tests of the level: exact cards, cameras and rendered scenes."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from vision.fiducials.cards import card_modules
from vision.fiducials.subpixel_corners import apply, perspective
from vision.imaging.photo import load_photo
from vision.synthetic.bedside import level_scene


def card_picture(code: int, corners: np.ndarray, size: tuple[int, int] = (280, 220), *,
                 blur: float = 0.7, black: float = 0.03, white: float = 0.8, noise: float = 0.0,
                 rim: float = 1.0, seed: int = 0) -> np.ndarray:
    """(H, W, 3) sRGB of one card whose black square has exactly these (4, 2) corners.

    Painted by asking for each of 4 x 4 points of every pixel which module it lies
    in, so the truth does not rest on any resampling; blurred in linear light.
    """
    k = 4
    w, h = size
    corners = np.asarray(corners, float)
    inverse = np.linalg.inv(perspective(corners, 8))
    light = np.full((h, w), 0.35)
    reach = 0.2 * (corners.max() - corners.min()) + 4
    x0, y0 = np.maximum(np.floor(corners.min(axis=0) - reach), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(corners.max(axis=0) + reach).astype(int) + 1, size)
    x = x0 + (np.arange((x1 - x0) * k) + 0.5) / k - 0.5
    y = y0 + (np.arange((y1 - y0) * k) + 0.5) / k - 0.5
    at = apply(inverse, np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2))
    padded = np.ones((10, 10), bool)
    padded[1:-1, 1:-1] = card_modules(code)
    i, j = np.floor(at[:, 0]).astype(int), np.floor(at[:, 1]).astype(int)
    on_card = (at > -rim).all(axis=1) & (at < 8 + rim).all(axis=1)
    part = np.where(padded[np.clip(j + 1, 0, 9), np.clip(i + 1, 0, 9)], white, black)
    part = np.where(on_card, part, 0.35).reshape(y1 - y0, k, x1 - x0, k)
    light[y0:y1, x0:x1] = part.mean(axis=(1, 3))
    light = cv2.GaussianBlur(light, (0, 0), blur) if blur else light
    light = light + np.random.default_rng(seed).normal(0, noise, light.shape) if noise else light
    light = np.clip(light, 0, 1)
    code_value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.repeat(np.rint(code_value * 255).astype(np.uint8)[..., None], 3, axis=2)


def square(side: float, centre: tuple[float, float], turn_deg: float = 0.0,
           squeeze: float = 1.0, shear: float = 0.0) -> np.ndarray:
    """(4, 2) corners from the card's top left clockwise."""
    h = side / 2
    p = np.array([[-h, -h], [h, -h], [h, h], [-h, h]]) * [squeeze, 1.0]
    p[:, 1] += shear * p[:, 0]
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return p @ np.array([[c, s], [-s, c]]) + centre


def rotation(tilt_x: float, tilt_y: float, turn_z: float) -> np.ndarray:
    """Card axes in the camera frame: facing the camera, then tilted (degrees)."""
    face = np.diag([1.0, -1.0, -1.0])  # card x right, y up, z towards the camera
    r = cv2.Rodrigues(np.radians([tilt_x, 0.0, 0.0]))[0]
    r = cv2.Rodrigues(np.radians([0.0, tilt_y, 0.0]))[0] @ r
    return np.asarray(cv2.Rodrigues(np.radians([0.0, 0.0, turn_z]))[0] @ r @ face)


@lru_cache(maxsize=64)
def scene(seed: int, index: int, kind: str, chamber: bool | None = None):
    """(photo, label) of a rendered room; kept, since several tests look at the same."""
    data, label = level_scene(seed, index, kind, chamber)
    return load_photo(data), label

"""Disturbed versions of a labelled picture whose pixel labels stay exact.

Pixel coordinates have their origin at the centre of the top-left pixel.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

#: 2 x 3 matrix that takes (x, y, 1) of the source to (x, y) of the variation.
Affine = np.ndarray
_SAME: Affine = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True)
class Scene:
    """What a disturbance may know: the (H, W, 3) uint8 picture, a random generator,
    and where the surface and the ends of the scale lie, (x, y) in px or None."""

    rgb: np.ndarray
    rng: np.random.Generator
    surface: np.ndarray | None
    low: np.ndarray | None
    high: np.ndarray | None


@dataclass(frozen=True)
class Disturbed:
    """The picture after a disturbance and where its points went."""

    rgb: np.ndarray
    affine: Affine


Disturb = Callable[[Scene, float], Disturbed]


@dataclass(frozen=True)
class Variation:
    """One kind of disturbance with its strengths, mildest first.

    ``spoils`` names label keys that no longer say the truth afterwards;
    ``hides`` tells that the surface can no longer be seen, so that the picture
    is to be refused.
    """

    name: str
    unit: str
    strengths: tuple[float, ...]
    disturb: Disturb
    spoils: tuple[str, ...] = ()
    hides: bool = False

    def setting(self, strength: float) -> str:
        """Name and strength in words."""
        return f"{self.name} {strength:g}{self.unit}"


def _to_light(rgb: np.ndarray) -> np.ndarray:
    """Picture values to linear light, after IEC 61966-2-1 (sRGB)."""
    v = rgb.astype(np.float32) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def _to_picture(light: np.ndarray) -> np.ndarray:
    """Linear light to picture values, after IEC 61966-2-1 (sRGB)."""
    bounded = np.clip(light, 0, 1)
    v: np.ndarray = np.where(
        bounded <= 0.0031308, 12.92 * bounded, 1.055 * bounded ** (1 / 2.4) - 0.055)
    return np.round(255 * v).astype(np.uint8)


def _blur(scene: Scene, sigma_px: float) -> Disturbed:
    import cv2

    return Disturbed(cv2.GaussianBlur(scene.rgb, (0, 0), sigma_px), _SAME)


def _noise(scene: Scene, sigma: float) -> Disturbed:
    noise = scene.rng.standard_normal(scene.rgb.shape, dtype=np.float32) * np.float32(sigma)
    return Disturbed(np.clip(np.round(scene.rgb + noise), 0, 255).astype(np.uint8), _SAME)


def _jpeg(scene: Scene, quality: float) -> Disturbed:
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(scene.rgb).save(out, "JPEG", quality=int(quality))
    return Disturbed(np.asarray(Image.open(out).convert("RGB")), _SAME)


def _smaller(scene: Scene, factor: float) -> Disturbed:
    import cv2

    height, width = scene.rgb.shape[:2]
    size = (round(width * factor), round(height * factor))
    fx, fy = size[0] / width, size[1] / height
    affine = np.array([[fx, 0, (fx - 1) / 2], [0, fy, (fy - 1) / 2]])
    return Disturbed(cv2.resize(scene.rgb, size, interpolation=cv2.INTER_AREA), affine)


def _brightness(scene: Scene, factor: float) -> Disturbed:
    return Disturbed(_to_picture(_to_light(scene.rgb) * factor), _SAME)


def _cast(scene: Scene, strength: float) -> Disturbed:
    gain: np.ndarray = np.array([1 + strength, 1.0, 1 / (1 + strength)], dtype=np.float32)
    return Disturbed(_to_picture(_to_light(scene.rgb) * gain), _SAME)


def _roll(scene: Scene, degrees: float) -> Disturbed:
    import cv2

    height, width = scene.rgb.shape[:2]
    turn = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), degrees, 1.0)
    rgb = cv2.warpAffine(scene.rgb, turn, (width, height), flags=cv2.INTER_CUBIC,
                         borderMode=cv2.BORDER_CONSTANT, borderValue=(128, 128, 128))
    return Disturbed(rgb, np.asarray(turn))


def _crop(scene: Scene, part: float) -> Disturbed:
    """Keep a part of width and height, around the surface, shifted to lie inside."""
    height, width = scene.rgb.shape[:2]
    w, h = round(width * part), round(height * part)
    cx, cy = scene.surface if scene.surface is not None else (width / 2, height / 2)
    left = int(np.clip(round(cx - w / 2), 0, width - w))
    top = int(np.clip(round(cy - h / 2), 0, height - h))
    rgb = np.ascontiguousarray(scene.rgb[top:top + h, left:left + w])
    return Disturbed(rgb, np.array([[1.0, 0, -left], [0, 1.0, -top]]))


def _ladder(scene: Scene) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(x, y) of the lower end, the upper end and the surface; guesses where not labelled."""
    height, width = scene.rgb.shape[:2]
    low = scene.low if scene.low is not None else np.array([width / 2, 0.85 * height])
    high = scene.high if scene.high is not None else np.array([width / 2, 0.15 * height])
    surface = scene.surface if scene.surface is not None else (low + high) / 2
    return low, high, surface


def _bar(scene: Scene, at: np.ndarray, along: np.ndarray, thick: float) -> np.ndarray:
    """A finger from the side: a bar across the scale with a round tip and soft edge."""
    import cv2

    length = float(np.linalg.norm(along))
    across = np.array([-along[1], along[0]]) / length
    side = 1.0 if scene.rng.random() < 0.5 else -1.0
    tip, away = at - side * across * 0.22 * length, at + side * across * 4 * length
    mask = np.zeros(scene.rgb.shape[:2], np.float32)
    ends = [tuple(int(round(v)) for v in p) for p in (tip, away)]
    cv2.line(mask, ends[0], ends[1], 1.0, max(1, int(round(thick))), cv2.LINE_AA)
    soft = cv2.GaussianBlur(mask, (0, 0), max(0.8, thick / 40))[..., None]
    skin = np.array([196, 148, 122], np.float32) * float(scene.rng.uniform(0.6, 1.1))
    return np.round(scene.rgb * (1 - soft) + skin * soft).clip(0, 255).astype(np.uint8)


def _finger(scene: Scene, share: float) -> Disturbed:
    """Cover a share of the scale on the longer side of the surface, never the surface."""
    low, high, surface = _ladder(scene)
    end = low if np.linalg.norm(low - surface) > np.linalg.norm(high - surface) else high
    room = float(np.linalg.norm(end - surface))
    thick = min(share * float(np.linalg.norm(high - low)), 0.8 * room)
    gap = 0.15 * room + thick / 2
    at = surface + (end - surface) / max(room, 1.0) * gap
    return Disturbed(_bar(scene, at, high - low, thick), _SAME)


def _covered(scene: Scene, share: float) -> Disturbed:
    """Cover the surface itself and a share of the scale round it."""
    low, high, surface = _ladder(scene)
    thick = share * float(np.linalg.norm(high - low))
    return Disturbed(_bar(scene, surface, high - low, thick), _SAME)


def _glare(scene: Scene, share: float) -> Disturbed:
    """A burnt-out highlight beside the surface; ``share`` = its size over the scale's length."""
    low, high, surface = _ladder(scene)
    size = share * float(np.linalg.norm(high - low))
    at = surface + scene.rng.uniform(-0.7, 0.7, 2) * size
    ys, xs = np.mgrid[:scene.rgb.shape[0], :scene.rgb.shape[1]].astype(np.float32)
    distance = ((xs - at[0]) / (0.35 * size)) ** 2 + ((ys - at[1]) / (0.6 * size)) ** 2
    light = _to_light(scene.rgb) + 3.0 * np.exp(-distance)[..., None]
    return Disturbed(_to_picture(light), _SAME)


VARIATIONS: tuple[Variation, ...] = (
    Variation("blur", " px", (1, 2, 4, 8), _blur, ("blur_px",)),
    Variation("noise", " grey levels", (5, 15, 30, 60), _noise),
    Variation("JPEG quality", "", (60, 30, 15, 5), _jpeg),
    Variation("smaller", " times", (0.75, 0.5, 0.35, 0.25), _smaller,
              ("px_per_mm", "px_per_division", "blur_px", "width", "height", "focal_px")),
    Variation("darker", " times the light", (0.5, 0.25, 0.1, 0.03), _brightness),
    Variation("brighter", " times the light", (1.5, 2.5, 5), _brightness),
    Variation("colour cast", "", (0.15, 0.4, 1.0), _cast),
    Variation("roll", " degrees", (3, 8, 15, 30), _roll, ("roll_deg",)),
    Variation("crop", " of the frame", (0.8, 0.6, 0.45, 0.3), _crop, ("width", "height")),
    Variation("finger", " of the scale", (0.1, 0.25, 0.4), _finger),
    Variation("glare", " of the scale", (0.05, 0.15, 0.3), _glare),
    Variation("surface covered", " of the scale", (0.2, 0.35), _covered, hides=True),
)


def moved(keys: Mapping[str, Any], affine: Affine) -> dict[str, Any]:
    """Label keys with every pixel point (a key ending in _px holding [x, y]) moved."""
    out = dict(keys)
    for key, value in keys.items():
        if key.endswith("_px") and isinstance(value, list) and len(value) == 2:
            x, y = affine @ np.array([*value, 1.0])
            out[key] = [round(float(x), 2), round(float(y), 2)]
    return out


def seed_of(file: str, setting: str) -> int:
    """The seed of one variation of one picture."""
    return zlib.crc32(f"{file}\n{setting}".encode())

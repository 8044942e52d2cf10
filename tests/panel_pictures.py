"""Pictures of a flat pressure panel with exact truth: a plane seen by a pinhole camera.

Two rows of marks may stand side by side, one for each unit; a wedge points at a
value.  Everything is drawn large in millimetres and warped once.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.imaging.photo import Photo, load_photo
from vision.scale_file.scale import Scale

DRAW = 8.0  # px per mm of the flat drawing


@dataclass(frozen=True)
class PanelShot:
    """What is drawn and from where it is seen.  ``value`` in ``scale``'s unit."""

    scale: Scale
    value: float
    other: Scale | None = None
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    distance_mm: float = 700.0
    size: tuple[int, int] = (1500, 2000)  # width, height of the photo
    blur_px: float = 0.8
    noise: float = 3.0
    numerals: bool = True
    ink: int = 30
    paper: int = 225
    text_mm: float = 6.0
    seed: int = 1


def flat_panel(shot: PanelShot) -> tuple[np.ndarray, float, float]:
    """The drawing (grey, uint8), the x (mm) of the pointer's tip, the top height (mm)."""
    z = [m.height_mm for m in shot.scale.marks]
    top, bottom, wide = max(z) + 25, min(z) - 25, 110.0
    image = Image.new("L", (int(wide * DRAW), int((top - bottom) * DRAW)), shot.paper)
    draw = ImageDraw.Draw(image)
    font = ImageFont.load_default(shot.text_mm * DRAW)

    def row(scale: Scale, x_mm: float, side: int) -> None:
        for m in scale.marks:
            y = (top - m.height_mm) * DRAW
            long = 10.0 if m.length == "long" else 6.0
            x0, x1 = sorted((x_mm, x_mm + side * long))
            draw.rectangle([x0 * DRAW, y - 0.25 * DRAW, x1 * DRAW, y + 0.25 * DRAW], fill=shot.ink)
            if m.label and shot.numerals:
                draw.text(((x_mm + side * 12) * DRAW, y), m.text, fill=shot.ink, font=font,
                          anchor="rm" if side < 0 else "lm")

    row(shot.scale, 45.0, -1)
    if shot.other is not None:
        row(shot.other, 65.0, 1)
    tip_x, tip_y = 47.0 * DRAW, (top - float(shot.scale.height_mm(shot.value))) * DRAW
    draw.polygon([(tip_x, tip_y), (tip_x + 6 * DRAW, tip_y - 3 * DRAW),
                  (tip_x + 6 * DRAW, tip_y + 3 * DRAW)], fill=(shot.ink + shot.paper) // 2)
    return np.asarray(image), 47.0, top


@lru_cache(maxsize=32)
def take(shot: PanelShot) -> tuple[Photo, tuple[float, float]]:
    """The photo and the pixel of the pointer's tip."""
    flat, tip_x, top = flat_panel(shot)
    h, w = flat.shape
    mid = np.array([w / DRAW / 2, top - h / DRAW / 2])
    camera = _camera(shot)

    def project(x_mm: float, z_mm: float) -> np.ndarray:
        p = camera @ np.array([x_mm - mid[0], mid[1] - z_mm, 0.0, 1.0])
        return p[:2] / p[2]

    corners = [(0.0, top), (w / DRAW, top), (w / DRAW, top - h / DRAW), (0.0, top - h / DRAW)]
    src = np.array([[-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5], [-0.5, h - 0.5]], np.float32)
    dst = np.array([project(*c) for c in corners], np.float32)
    rng = np.random.default_rng(shot.seed)
    wall = rng.normal(170, 6, (shot.size[1] // 40, shot.size[0] // 40)).astype(np.float32)
    room = cv2.resize(wall, shot.size, interpolation=cv2.INTER_CUBIC)
    matrix = cv2.getPerspectiveTransform(src, dst)
    seen = cv2.warpPerspective(flat.astype(np.float32), matrix, shot.size, flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.ones_like(flat, np.float32), matrix, shot.size)
    picture = seen * mask + room * (1 - mask)
    picture = cv2.GaussianBlur(picture, (0, 0), shot.blur_px) + rng.normal(
        0, shot.noise, picture.shape)
    out = io.BytesIO()
    Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)).convert("RGB").save(
        out, "JPEG", quality=88)
    tip = project(tip_x, float(shot.scale.height_mm(shot.value)))
    return load_photo(out.getvalue()), (float(tip[0]), float(tip[1]))


def _camera(shot: PanelShot) -> np.ndarray:
    """3 x 4 projection: x right, y down, looking at the middle of the panel."""
    def turn(axis: list[float], deg: float) -> np.ndarray:
        return np.asarray(cv2.Rodrigues(np.radians(deg) * np.array(axis))[0])

    rotation = (turn([0, 0, 1], shot.roll_deg) @ turn([1, 0, 0], shot.pitch_deg)
                @ turn([0, 1, 0], shot.yaw_deg))
    f = 1.05 * max(shot.size)
    k = np.array([[f, 0, shot.size[0] / 2 - 0.5], [0, f, shot.size[1] / 2 - 0.5], [0, 0, 1.0]])
    return np.asarray(k @ np.column_stack([rotation, [0, 0, shot.distance_mm]]))

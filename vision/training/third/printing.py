"""The print as a picture wrapped round the outer wall: colour and cover, with fonts by Pillow."""

from __future__ import annotations

import math

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.training.third.draws import Print, ThirdScene, outside_at

PX_PER_MM = 12.0
_GAP_MM = 1.2


def wrapped_print(scene: ThirdScene, low_mm: float, high_mm: float) -> np.ndarray:
    """(H, W, 4) float32 of the whole wall between two heights, top row first: linear colour and
    cover from 0 to 1.  The middle column faces the front; columns are equal angles."""
    widest = scene.scale.outer_radius_mm
    width = round(2 * math.pi * widest * PX_PER_MM)
    height = round((high_mm - low_mm) * PX_PER_MM)
    ink = Image.new("L", (width, height), 0)
    how = scene.print

    def row(z: float) -> float:
        return (high_mm - z) * PX_PER_MM - 0.5

    heights = np.array([m.height_mm for m in scene.scale.marks])
    near = float(np.diff(np.sort(heights)).min())
    stroke = min(how.stroke_mm, 0.32 * near) * PX_PER_MM
    for mark in scene.scale.marks:
        radius = float(outside_at(scene.scale, mark.height_mm))
        wide = widest / radius * PX_PER_MM  # pixels a millimetre along this round
        long = mark.length == "long"
        reach = min((how.long_mm if long else how.short_mm), 1.3 * radius)
        left = {-1: -min(how.long_mm, 1.3 * radius) / 2, 0: -reach / 2,
                1: min(how.long_mm, 1.3 * radius) / 2 - reach}[how.align]
        if how.round == "all" or (how.round == "long" and long):
            ends = (0.0, float(width))
        else:
            ends = (width / 2 + left * wide, width / 2 + (left + reach) * wide)
        y = row(mark.height_mm)
        _bar(ink, ends, y - stroke / 2, y + stroke / 2)
        if mark.label:
            _numeral(ink, mark.text, how, width / 2, left, reach, y, wide)
    if how.sticker:
        return _with_sticker(np.asarray(ink, np.float32) / 255, scene)
    cover = np.asarray(ink, np.float32)[..., None] / 255
    colour = np.broadcast_to(np.array(how.ink, np.float32), (height, width, 3))
    return np.concatenate([colour, cover], 2)


def _bar(ink: Image.Image, across: tuple[float, float], top: float, bottom: float) -> None:
    """A bar whose edges lie between pixels: each row and column covered by its share."""
    h, w = ink.height, ink.width
    rows = np.clip(np.minimum(np.arange(h) + 0.5, bottom) - np.maximum(np.arange(h) - 0.5, top),
                   0, 1)
    columns = np.clip(np.minimum(np.arange(w) + 1.0, across[1])
                      - np.maximum(np.arange(w) + 0.0, across[0]), 0, 1)
    first, last = max(int(top) - 2, 0), min(int(bottom) + 3, h)
    if first < last:
        bar = np.outer(rows[first:last], columns) * 255
        there = np.asarray(ink)[first:last]
        ink.paste(Image.fromarray(np.maximum(there, bar.astype(np.uint8))), (0, first))


def _numeral(ink: Image.Image, text: str, how: Print, middle: float, left: float, reach: float,
             y: float, wide: float) -> None:
    """The figures beside (or within) their mark, their middle at its height."""
    try:
        font = ImageFont.truetype(f"{how.font}.ttf", 100)
    except OSError:
        font = ImageFont.load_default(100)  # type: ignore[assignment]
    box = font.getbbox(text)
    glyphs = Image.new("L", (math.ceil(box[2] - box[0]) + 4, math.ceil(box[3] - box[1]) + 4), 0)
    ImageDraw.Draw(glyphs).text((2 - box[0], 2 - box[1]), text, fill=255, font=font)
    tall_mm = how.numeral_mm
    broad_mm = tall_mm * glyphs.width / glyphs.height
    size = (max(round(broad_mm * wide), 1), max(round(tall_mm * PX_PER_MM), 1))
    at = middle + ((left - _GAP_MM - broad_mm) if how.side < 0 else (left + reach + _GAP_MM)) * wide
    if how.round != "none":  # the ring is broken where the figures stand
        free = 0.5 * PX_PER_MM
        ink.paste(0, (round(at - free), round(y + 0.5 - size[1] / 2), round(at + size[0] + free),
                      round(y + 0.5 + size[1] / 2)))
    ink.paste(255, (round(at), round(y + 0.5 - size[1] / 2)),
              glyphs.resize(size, Image.Resampling.LANCZOS))


def _with_sticker(ink: np.ndarray, scene: ThirdScene) -> np.ndarray:
    """A paper label on the side of the tube, printed with a few grey lines."""
    rng = np.random.default_rng(scene.seed + 1)
    h, w = ink.shape
    out = np.zeros((h, w, 4), np.float32)
    out[..., :3], out[..., 3] = scene.print.ink, ink
    side = int(w * float(rng.choice([0.18, 0.82]) + rng.uniform(-0.03, 0.03)))
    half, top = int(0.09 * w), int(h * rng.uniform(0.1, 0.5))
    tall = int(min(22 * PX_PER_MM, h * 0.4))
    patch = np.ones((tall, 2 * half, 4), np.float32)
    patch[..., :3] = rng.uniform(0.6, 0.85, 3)
    for k in range(3, tall - 12, 30):
        patch[k + 8:k + 14, 12:int(rng.uniform(0.5, 0.95) * 2 * half), :3] = 0.1
    out[top:top + tall, side - half:side + half] = patch[:h - top]
    return out

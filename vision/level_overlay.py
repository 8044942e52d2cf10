"""The picture that shows what a level check saw: cards, plumb lines, horizon, offset."""

from __future__ import annotations

import numpy as np

from vision.level_reading import LevelReading
from vision.photo import Photo

_PAPER, _INK = (250, 248, 240), (18, 24, 32)
_CARD, _CUE, _HORIZON, _LEVEL = (0, 150, 160), (110, 70, 200), (235, 150, 20), (205, 30, 110)
_LONG_PX = 1800


def draw_level_overlay(photo: Photo, reading: LevelReading) -> np.ndarray:
    """(H, W, 3) uint8 RGB, at most 1800 px long: the photo with what was seen drawn on it.

    Every line carries a word, so that nothing rests on colour alone.
    """
    import cv2
    from PIL import Image, ImageDraw, ImageFont

    work = photo.working_rgb
    zoom = min(1.0, _LONG_PX / max(work.shape[:2]))
    size = (max(2, round(work.shape[1] * zoom)), max(2, round(work.shape[0] * zoom)))
    picture = Image.fromarray(np.ascontiguousarray(
        cv2.resize(work, size, interpolation=cv2.INTER_AREA)))
    draw = ImageDraw.Draw(picture)
    pen = max(2, round(max(size) / 600))
    font = ImageFont.load_default(size=max(14, max(size) // 60))

    def place(points: np.ndarray) -> list[tuple[float, float]]:
        at = (photo.to_working(np.asarray(points, float).reshape(-1, 2)) + 0.5) * zoom - 0.5
        return [(float(x), float(y)) for x, y in at if np.isfinite((x, y)).all()]

    def line(points: np.ndarray, colour: tuple[int, int, int], words: str, weight: int) -> None:
        at = place(points)
        if len(at) < 2:
            return
        draw.line(at, fill=colour, width=weight)
        tag(at[0], words, colour)

    def tag(at: tuple[float, float], words: str, colour: tuple[int, int, int]) -> None:
        x = min(max(at[0] + 6, 4), size[0] - 8 - draw.textlength(words, font=font))
        y = min(max(at[1], 14), size[1] - 14)
        box = draw.textbbox((x, y), words, font=font, anchor="lm")
        draw.rounded_rectangle((box[0] - 4, box[1] - 3, box[2] + 4, box[3] + 3), 4, fill=colour)
        draw.text((x, y), words, font=font, fill=_PAPER, anchor="lm")

    scene = reading.scene
    for name, ends in scene.cues:
        line(ends, _CUE, f"plumb: {name}", pen)
    if scene.horizon_px is not None:
        line(scene.horizon_px, _HORIZON, "height of the phone", pen)
    for corners in scene.cards_px:
        at = place(corners)
        if len(at) == 4:
            draw.line([*at, at[0]], fill=_CARD, width=pen)
    if scene.level_px is not None:
        line(scene.level_px, _LEVEL, "level with the zero reference", 2 * pen)
    for point, words in ((scene.zero_px, "zero reference"), (scene.landmark_px, "landmark")):
        for x, y in place(point) if point is not None else ():
            r = 4 * pen
            draw.ellipse((x - r, y - r, x + r, y + r), outline=_LEVEL, width=pen)
            tag((x + r, y), words, _LEVEL)
    words = "Machine: no result" if reading.offset_cm is None or reading.interval_cm is None else (
        f"Machine, not confirmed: {reading.offset_cm:+.1f} cm, 95 %: {reading.interval_cm[0]:+.1f}"
        f" to {reading.interval_cm[1]:+.1f} cm (+ = zero reference above the landmark)")
    high = int(1.9 * max(14, max(size) // 60))
    draw.rectangle((0, size[1] - high, *size), fill=_INK)
    draw.text((10, size[1] - high / 2), words, font=font, fill=_PAPER, anchor="lm")
    return np.asarray(picture).copy()

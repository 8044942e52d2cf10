"""The photo with what the level rests on: cards, plumb lines, horizon and the height between.

Every line carries a word, so that nothing rests on colour alone.
"""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.imaging.photo import Photo, scaled_points
from vision.level.result import LevelReading, LevelScene, hangs_words

INK, PAPER = (18, 24, 32), (250, 248, 240)
CARD, PLUMB, HORIZON, LEVEL, OFFSET = (
    (0, 140, 150), (110, 70, 200), (150, 95, 10), (0, 120, 60), (205, 30, 110))
_LONG_PX = 1800

Colour = tuple[int, int, int]


def draw_level_overlay(photo: Photo, reading: LevelReading) -> np.ndarray:
    """(H, W, 3) uint8 RGB, at most 1800 px long: the photo with what was seen drawn on it."""
    pen = Pen(photo, f"Machine, not confirmed: {reading.sentence}")
    scene = reading.scene
    draw_horizon(pen, scene, photo)
    for _, line in scene.cues:
        pen.line(line, PLUMB)
    for name in dict.fromkeys(n for n, _ in scene.cues):
        lines = [line for n, line in scene.cues if n == name]
        pen.word(lines[-1][1], f"plumb: {name}", PLUMB)
    for corners in scene.cards_px:
        pen.outline(corners, CARD)
    if scene.level_px is not None and scene.landmark_px is not None:
        pen.line(scene.level_px, LEVEL)
        pen.word(scene.level_px.mean(axis=0), "level with the zero reference", LEVEL)
        pen.line(np.array([scene.level_px[1], scene.landmark_px]), OFFSET, thick=2)
        if reading.offset_cm is not None:
            middle = (scene.level_px[1] + scene.landmark_px) / 2
            pen.word(middle, hangs_words(reading.offset_cm), OFFSET)
    for point, colour in ((scene.zero_px, LEVEL), (scene.landmark_px, OFFSET)):
        if point is not None:
            pen.cross(point, colour)
    return pen.finished()


def draw_horizon(pen: Pen, scene: LevelScene, photo: Photo) -> None:
    """The eye level across the photo, with its word near the left end."""
    if scene.horizon_px is None:
        return
    pen.dashes(scene.horizon_px, HORIZON)
    points = scene.horizon_px[0] + np.linspace(0.02, 0.98, 60)[:, None] * np.diff(
        scene.horizon_px, axis=0)
    inside = (points[:, 1] > 0) & (points[:, 1] < photo.height)
    pen.word(points[np.argmax(inside)], "height of the phone", HORIZON)


class Pen:
    """Drawing in pixels of the full photo on a picture at most ``long_px`` long."""

    def __init__(self, photo: Photo, foot: str = "", long_px: int = _LONG_PX) -> None:
        wide, tall = photo.working_size
        zoom = min(1.0, long_px / max(wide, tall))
        self.image = Image.fromarray(np.ascontiguousarray(photo.working_rgb)).resize(
            (max(round(wide * zoom), 2), max(round(tall * zoom), 2)), Image.Resampling.BOX)
        self.zoom = self.image.width / photo.width
        self.width = max(2, round(max(self.image.size) / 500))
        self.draw = ImageDraw.Draw(self.image)
        self.text_px = max(13, round(max(self.image.size) / 64))
        self.font = ImageFont.load_default(self.text_px)
        self.foot_lines = self._wrapped(foot) if foot else []
        foot_px = round(self.text_px * 1.35) * len(self.foot_lines) + 12 if foot else 0
        self.foot_top = self.image.height - foot_px

    def _at(self, point: np.ndarray) -> tuple[float, float]:
        x, y = np.clip(scaled_points(np.nan_to_num(point), self.zoom), -9999, 9999)
        return float(x), float(y)

    def line(self, points: np.ndarray, colour: Colour, thick: int = 1) -> None:
        p = [self._at(q) for q in points]
        # A pale edge keeps the line visible on any ground.
        self.draw.line(p, fill=PAPER, width=self.width * thick + 2)
        self.draw.line(p, fill=colour, width=self.width * thick)

    def outline(self, corners: np.ndarray, colour: Colour) -> None:
        self.line(np.vstack([corners, corners[:1]]), colour)

    def dashes(self, ends: np.ndarray, colour: Colour) -> None:
        a, b = (np.array(self._at(q)) for q in ends)
        n = max(int(np.linalg.norm(b - a) / (8 * self.width)), 1)
        for i in range(0, n, 2):
            dash = [a + (b - a) * i / n, a + (b - a) * min(i + 1, n) / n]
            self.draw.line([(float(x), float(y)) for x, y in dash], fill=colour, width=self.width)

    def cross(self, point: np.ndarray, colour: Colour) -> None:
        x, y = self._at(point)
        r = 5 * self.width
        for dx, dy in ((r, 0), (0, r)):
            for fill, width in ((PAPER, self.width + 3), (colour, self.width)):
                self.draw.line([(x - dx, y - dy), (x + dx, y + dy)], fill=fill, width=width)

    def word(self, point: np.ndarray, text: str, colour: Colour) -> None:
        x, y = self._at(point)
        left, top, right, low = self.draw.textbbox((0, 0), text, font=self.font)
        w, h = right - left + 8, low - top + 8
        x = max(min(x + 3 * self.width, self.image.width - w - 2), 2)
        y = max(min(y - h - self.width, self.foot_top - h - 2), 2)
        self.draw.rectangle([x, y, x + w, y + h], fill=PAPER, outline=colour)
        self.draw.text((x + 4 - left, y + 4 - top), text, fill=INK, font=self.font)

    def _wrapped(self, text: str) -> list[str]:
        lines, line = [], ""
        for part in text.split():
            longer = f"{line} {part}".strip()
            if self.draw.textlength(longer, font=self.font) > self.image.width - 24 and line:
                lines.append(line)
                line = part
            else:
                line = longer
        return [*lines, line]

    def finished(self) -> np.ndarray:
        """(H, W, 3) uint8, with the sentence on a band along the lower edge."""
        self.draw.rectangle([0, self.foot_top, self.image.width, self.image.height], fill=INK)
        for i, words in enumerate(self.foot_lines):
            at = (12, self.foot_top + 6 + i * round(self.text_px * 1.35))
            self.draw.text(at, words, fill=PAPER, font=self.font)
        return np.asarray(self.image).copy()

"""The picture that lets a person check the machine at a glance.

Thin lines lie on what was seen (marks, the edge of the liquid); the reading is one
bold line with its value, the interval a veil round it.  Every line that carries
meaning also carries a word, so that nothing rests on colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.hydrostatics.units import WORDS
from vision.imaging.photo import Photo
from vision.reading import Annotation, VolumeReading

_INK = (18, 24, 32)
_PAPER = (250, 248, 240)
_MARK = (0, 150, 160)
_HIDDEN = (120, 120, 120)
_RIM = (235, 150, 20)
_READING = (205, 30, 110)
_VEIL = (205, 30, 110)
_CANDIDATE = (110, 70, 200)
_TALL_PX = 1400
#: Shares of the picture's height that letters are high, small and large: a chamber shown 608
#: CSS px high on a telephone has letters of 14 px and more (our choice).
_LETTERS = (43, 30)


def chamber_box(photo: Photo, reading: VolumeReading, margin: float = 0.12
                ) -> tuple[int, int, int, int]:
    """(x0, y0, x1, y1) of the chamber in the full photo; all of it when none was found."""
    points = [t.points_px for t in reading.annotations if len(t.points_px)]
    if not points:
        return 0, 0, photo.width, photo.height
    p = np.concatenate(points)
    p = p[np.isfinite(p).all(axis=1)]
    if not len(p):
        return 0, 0, photo.width, photo.height
    (x0, y0), (x1, y1) = p.min(axis=0), p.max(axis=0)
    tall = max(y1 - y0, x1 - x0, 40.0)
    x_mid, wide = (x0 + x1) / 2, max(x1 - x0, 0.42 * tall)
    return (int(max(x_mid - wide / 2 - margin * tall, 0)), int(max(y0 - margin * tall, 0)),
            int(min(x_mid + wide / 2 + margin * tall, photo.width)),
            int(min(y1 + margin * tall, photo.height)))


def draw_overlay(photo: Photo, reading: VolumeReading, *, crop: bool = True,
                 tall_px: int = _TALL_PX) -> np.ndarray:
    """(H, W, 3) uint8 RGB: the photo with what was seen and concluded drawn on it.

    ``crop`` shows the chamber only; ``tall_px`` is the height of the picture.
    """
    box = chamber_box(photo, reading) if crop else (0, 0, photo.width, photo.height)
    x0, y0, x1, y1 = box
    k = photo.working_scale
    a0, b0 = x0 // k, y0 // k
    a1, b1 = max(x1 // k, a0 + 2), max(y1 // k, b0 + 2)
    part = photo.working_rgb[b0:b1, a0:a1]
    zoom = tall_px / part.shape[0]
    zoom = min(zoom, 2400 / part.shape[1])
    size = (max(int(part.shape[1] * zoom), 2), max(int(part.shape[0] * zoom), 2))
    canvas = cv2.resize(part, size, interpolation=cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC)
    canvas = np.ascontiguousarray(canvas)

    def place(points: np.ndarray) -> np.ndarray:
        work = (np.asarray(points, float) + 0.5) / k - 0.5
        return (work - np.array([a0, b0]) + 0.5) * zoom - 0.5

    pen = max(1, round(size[1] / 700))
    _veil(canvas, reading, place)
    for trace in reading.annotations:
        _line(canvas, trace, place, pen)
    return _words(canvas, reading, place)


def draw_sheet(photos: Sequence[Photo], reading: VolumeReading, *, tall_px: int = 900
               ) -> np.ndarray:
    """(H, W, 3) uint8 RGB: each of several photos with its own line, and what they say together.

    ``photos`` are those of ``reading.photos``, in their order.
    """
    tiles = []
    for n, (photo, own) in enumerate(zip(photos, reading.photos, strict=True)):
        tile = Image.fromarray(draw_overlay(photo, own.reading, tall_px=tall_px))
        tile = tile.resize((max(round(tile.width * tall_px / tile.height), 240), tall_px))
        _tag(ImageDraw.Draw(tile), (10, 24), f"photo {n + 1}", ImageFont.load_default(size=26),
             _PAPER, _INK)
        tiles.append(tile)
    font = ImageFont.load_default(size=30)
    sheet = Image.new("RGB", (sum(t.width + 8 for t in tiles), tall_px + 96), _PAPER)
    x = 0
    for tile in tiles:
        sheet.paste(tile, (x, 0))
        x += tile.width + 8
    draw = ImageDraw.Draw(sheet)
    if reading.value is not None and reading.interval is not None:
        text = (f"together {reading.value:.2f} {reading.unit}, 95 %: {reading.interval[0]:.2f} to "
                f"{reading.interval[1]:.2f}. Machine reading, not confirmed.")
    elif "photos-disagree" in reading.flags:
        text = "The photos do not show the same level: no reading."
    else:
        text = "Machine: no reading from these photos."
    draw.text((12, tall_px + 14), text, font=font, fill=_INK)
    if reading.interval is not None:
        _bars(draw, reading, tall_px + 62, sheet.width)
    return np.asarray(sheet).copy()


def _bars(draw: ImageDraw.ImageDraw, reading: VolumeReading, y: float, wide: int) -> None:
    """The photos' intervals in grey, one above the other, and the combined one in colour."""
    found = [p.interval for p in reading.photos if p.interval is not None]
    assert reading.interval is not None and reading.value is not None
    low = min(a for a, _ in [*found, reading.interval])
    high = max(b for _, b in [*found, reading.interval])

    def at(value: float) -> float:
        return 110 + (wide - 220) * (value - low) / max(high - low, 1e-9)

    for n, (a, b) in enumerate(found):
        draw.line((at(a), y + 5 * n, at(b), y + 5 * n), fill=_HIDDEN, width=3)
    bottom = y + 5 * len(found) + 4
    draw.line((at(reading.interval[0]), bottom, at(reading.interval[1]), bottom), fill=_READING,
              width=7)
    small = ImageFont.load_default(size=18)
    draw.text((100, bottom), f"{low:.1f}", font=small, fill=_INK, anchor="rm")
    draw.text((wide - 100, bottom), f"{high:.1f}", font=small, fill=_INK, anchor="lm")


def _veil(canvas: np.ndarray, reading: VolumeReading, place: object) -> None:
    for t in reading.annotations:
        if t.role != "interval" or reading.status != "read":
            continue
        p = place(t.points_px)  # type: ignore[operator]
        if not np.isfinite(p).all():
            continue
        mask = np.zeros(canvas.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.round(p).astype(np.int32)], 255)
        on = mask > 0
        canvas[on] = (0.68 * canvas[on] + 0.32 * np.array(_VEIL)).astype(np.uint8)


_STYLE: dict[str, tuple[tuple[int, int, int], float]] = {
    "mark-short": (_MARK, 0.7), "mark-long": (_MARK, 1.2), "mark-hidden": (_HIDDEN, 1.0),
    "rim-front": (_RIM, 1.6), "candidate": (_CANDIDATE, 1.6), "reading": (_READING, 2.6),
}


def _line(canvas: np.ndarray, trace: Annotation, place: object, pen: int) -> None:
    style = _STYLE.get(trace.role)
    if style is None or len(trace.points_px) < 2:
        return
    p = place(trace.points_px)  # type: ignore[operator]
    if not np.isfinite(p).all():
        return
    colour, weight = style
    q = np.round(p * 8).astype(np.int32).reshape(-1, 1, 2)
    thick = max(1, round(pen * weight))
    dashed = trace.role in ("mark-hidden", "rim-front", "candidate")
    if trace.role == "reading":
        cv2.polylines(canvas, [q], False, _PAPER, thick + 2 * pen, cv2.LINE_AA, 3)
    if not dashed:
        cv2.polylines(canvas, [q], False, colour, thick, cv2.LINE_AA, 3)
        return
    for i in range(0, len(q) - 1, 2):
        cv2.polylines(canvas, [q[i:i + 2]], False, colour, thick, cv2.LINE_AA, 3)


def _words(canvas: np.ndarray, reading: VolumeReading, place: object) -> np.ndarray:
    image = Image.fromarray(canvas)
    draw = ImageDraw.Draw(image)
    small, big = (ImageFont.load_default(size=max(12, image.height // n)) for n in _LETTERS)
    for t in reading.annotations:
        p = place(t.points_px)  # type: ignore[operator]
        if not len(p) or not np.isfinite(p).all():
            continue
        if t.role == "numeral":
            _tag(draw, (p[-1][0], p[-1][1]), t.text, small, _PAPER, (0, 96, 104),
                 anchor="rm" if p[-1][0] < p[0][0] else "lm")
    rows: list[tuple[float, str, tuple[int, int, int]]] = []
    for t in reading.annotations:
        if not len(t.points_px) or t.role not in ("rim-front", "reading", "candidate"):
            continue
        y = float(place(t.points_px)[0][1])  # type: ignore[operator]
        if not np.isfinite(y):
            continue
        if t.role == "rim-front":
            doubt = "?" if reading.status == "refused" else ""
            rows.append((y, f"edge of the liquid{doubt}", _RIM))
        elif t.role == "candidate":
            rows.append((y, "or here?", _CANDIDATE))
        elif reading.status == "read" and reading.value is not None:
            rows.append((y, f"{reading.value:.1f} {_unit(reading)}", _READING))
    last = -1e9
    for y, text, colour in sorted(rows):
        font = big if colour == _READING else small
        y = max(y, last + 1.25 * _tall(font))
        _tag(draw, (6, y), text, font, _PAPER, colour)
        last = y
    _banner(draw, image, reading, small)
    return np.asarray(image).copy()


_Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


def _unit(reading: VolumeReading) -> str:
    """The unit as it is printed on a panel, and not its code."""
    return WORDS.get(reading.unit, reading.unit)


def _tall(font: _Font) -> float:
    """Height of a line of words in pixels."""
    return float(font.getbbox("0g")[3])


def _tag(draw: ImageDraw.ImageDraw, at: tuple[float, float], text: str,
         font: _Font, fill: tuple[int, int, int],
         back: tuple[int, int, int], anchor: str = "lm") -> None:
    """Words on a plate, their left (or right) middle at ``at``."""
    x0, y0, x1, y1 = draw.textbbox(at, text, font=font, anchor=anchor)
    draw.rounded_rectangle((x0 - 4, y0 - 3, x1 + 4, y1 + 3), radius=4, fill=back)
    draw.text(at, text, font=font, fill=fill, anchor=anchor)


def _banner(draw: ImageDraw.ImageDraw, image: Image.Image, reading: VolumeReading,
            font: _Font) -> None:
    """One line under the picture: what the machine says, and that nobody confirmed it."""
    if reading.status == "read" and reading.interval is not None:
        text = (f"Machine reading, not confirmed. 95 %: {reading.interval[0]:.1f} to "
                f"{reading.interval[1]:.1f} {_unit(reading)}")
    elif reading.status == "above-scale":
        text = "Machine: above the highest mark"
    elif reading.status == "below-scale":
        text = "Machine: below the lowest mark"
    else:
        text = "Machine: no reading"
    height = int(_tall(font) * 1.9)
    while (isinstance(font, ImageFont.FreeTypeFont) and font.size > 8
           and draw.textlength(text, font=font) > image.width - 20):
        font = font.font_variant(size=font.size - 1)  # a narrow picture: smaller words
    draw.rectangle((0, image.height - height, image.width, image.height), fill=_INK)
    draw.text((10, image.height - height / 2), text, font=font, fill=_PAPER, anchor="lm")

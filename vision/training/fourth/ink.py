"""The print on the outer wall, drawn by Pillow on the unrolled wall."""

from __future__ import annotations

import math

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.training.fourth.facts import Facts
from vision.training.fourth.scales import outside_at

#: Pixels per mm of the unrolled wall.
FINE = 14


def _font(name: str, height_mm: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Digits of that height; Pillow's own font where the named one is missing."""
    def sized(size: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
        if name:
            try:
                return ImageFont.truetype(name + ".ttf", round(size))
            except OSError:
                pass
        return ImageFont.load_default(round(size))

    wanted = height_mm * FINE
    _, top, _, bottom = sized(100).getbbox("0")
    return sized(100 * wanted / (bottom - top))


def unrolled(facts: Facts, low_mm: float, high_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Colours (H, W, 3) linear and cover (H, W), top row first; the middle column is that of the
    marks' middle, and the width is once round the tube at its widest."""
    rng = np.random.default_rng([facts.seed, 21])
    ink, widest = facts.ink, facts.scale.outer_radius_mm
    w, h = round(2 * math.pi * widest * FINE), round((high_mm - low_mm) * FINE)
    cover = Image.new("L", (w, h), 0)
    pen = ImageDraw.Draw(cover)
    font = _font(ink.font, ink.numeral_mm)
    half = ink.stroke_mm * FINE / 2
    longest = ink.long_mm * FINE
    left = w / 2 - longest / 2
    for mark in facts.scale.marks:
        # a narrower part shows its marks at the same width
        wide = widest / float(outside_at(facts.scale, mark.height_mm))
        y = (high_mm - mark.height_mm) * FINE
        length = (ink.long_mm if mark.length == "long" else ink.short_mm) * FINE
        x = {"left": left, "middle": w / 2 - length / 2,
             "right": left + longest - length}[ink.ragged]
        all_round = ink.round == "all" or (ink.round == "long" and mark.length == "long")
        x0, x1 = ((0.0, float(w)) if all_round
                  else (w / 2 + (x - w / 2) * wide, w / 2 + (x + length - w / 2) * wide))
        _soft_bar(cover, x0, x1, y - half, y + half)
        if mark.label:
            _numeral(cover, pen, mark.text, font, facts, wide, y, all_round)
    share = np.asarray(cover, np.float32) / 255
    worn = 1 - (1 - ink.cover) * rng.uniform(0.3, 1.0, (h // 24 + 2, w // 24 + 2))
    worn = np.asarray(Image.fromarray(worn.astype(np.float32)).resize(
        (w, h), Image.Resampling.BILINEAR))
    share = share * worn
    colours = np.broadcast_to(np.array(ink.colour, np.float32), (h, w, 3)).copy()
    if ink.label:
        _paper(colours, share, rng)
    return colours, share


def _soft_bar(cover: Image.Image, x0: float, x1: float, y0: float, y1: float) -> None:
    """A level bar with edges between pixels, over what is there."""
    first, last = math.floor(y0), math.ceil(y1)
    columns = slice(max(round(x0), 0), round(x1))
    for row in range(max(first, 0), min(last, cover.height)):
        share = min(row + 1, y1) - max(row, y0)
        patch = Image.new("L", (columns.stop - columns.start, 1), round(255 * min(share, 1.0)))
        cover.paste(patch, (columns.start, row))


def _numeral(cover: Image.Image, pen: ImageDraw.ImageDraw, text: str,
             font: ImageFont.FreeTypeFont | ImageFont.ImageFont, facts: Facts, wide: float,
             y: float, over_ring: bool) -> None:
    ink, w = facts.ink, cover.width
    x0, y0, x1, y1 = pen.textbbox((0, 0), text, font=font)
    off = (ink.long_mm / 2 + 1.0) * FINE * wide
    x = w / 2 + off if ink.side > 0 else w / 2 - off - (x1 - x0)
    if over_ring:  # the ring leaves room for its number
        pen.rectangle((x - 8, y - 12, x + (x1 - x0) + 8, y + 12), fill=0)
    pen.text((x - x0, y - (y0 + y1) / 2), text, font=font, fill=255)


def _paper(colours: np.ndarray, share: np.ndarray, rng: np.random.Generator) -> None:
    """A paper label with lines of writing, beside or behind the marks."""
    h, w = share.shape
    wide, tall = int(w * rng.uniform(0.12, 0.2)), int(min(30 * FINE, h * rng.uniform(0.2, 0.5)))
    x = int(w * rng.choice([0.17, 0.83]) - wide / 2)
    y = int(rng.uniform(0.1, 0.9) * (h - tall))
    paper = Image.new("RGB", (wide, tall), tuple(int(c) for c in rng.uniform(170, 235, 3)))
    pen = ImageDraw.Draw(paper)
    for row in range(24, tall - 30, 46):
        end = 20
        while end < wide - 60:
            run = int(rng.uniform(10, 60))
            pen.line((end, row + 14, end + run, row + 14 + int(rng.uniform(-9, 9))),
                     fill=(30, 30, 70), width=5)
            end += run + int(rng.uniform(8, 25))
    colours[y:y + tall, x:x + wide] = (np.asarray(paper, np.float32) / 255) ** 2.2
    share[y:y + tall, x:x + wide] = 1.0

"""Sheets that explain a stage: a title, a picture, lines of words, the bars of a budget."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.budget import BudgetTerm, combined_standard_uncertainty

INK, PAPER, FAINT = (24, 30, 38), (250, 248, 240), (205, 203, 194)
TEAL, PLUM, AMBER = (0, 120, 130), (176, 26, 96), (206, 120, 10)
#: Height of the title's band and of a line of words, px; letters in a line.
TITLE_PX, LINE_PX, _LETTERS = 60, 26, 110


def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """The letters of every sheet."""
    return ImageFont.load_default(size=size)


def sheet(wide: int, title: str, tall: int) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    """An empty sheet with its title, ``tall`` px below it, and its pen."""
    canvas = Image.new("RGB", (wide, TITLE_PX + tall), PAPER)
    draw = ImageDraw.Draw(canvas)
    draw.text((12, 14), title, font=font(26), fill=INK)
    return canvas, draw


def write_lines(draw: ImageDraw.ImageDraw, x: float, y: float, lines: Sequence[str]) -> None:
    """Lines of words one below the other, long ones wrapped."""
    for n, line in enumerate(_wrapped(lines)):
        draw.text((x, y + LINE_PX * n), line, font=font(16), fill=INK)


def _wrapped(lines: Sequence[str]) -> list[str]:
    return [part for line in lines for part in textwrap.wrap(
        line, _LETTERS, subsequent_indent="    ", drop_whitespace=False,
        replace_whitespace=False) or [line]]


def picture_sheet(title: str, picture: np.ndarray, lines: Sequence[str]) -> np.ndarray:
    """(H, W, 3) uint8: a picture (h, w, 3) uint8 with lines of words below."""
    tall, wide = picture.shape[:2]
    canvas, draw = sheet(max(wide, 760), title, tall + 20 + LINE_PX * len(_wrapped(lines)))
    canvas.paste(Image.fromarray(picture), (0, TITLE_PX))
    write_lines(draw, 12, TITLE_PX + tall + 8, lines)
    return np.asarray(canvas)


def budget_sheet(title: str, budget: Sequence[BudgetTerm], lines: Sequence[str]) -> np.ndarray:
    """(H, W, 3) uint8: each term as a bar, the combination and more lines below."""
    largest = max((t.standard_uncertainty for t in budget), default=1.0) or 1.0
    canvas, draw = sheet(1000, title, 60 + 2 * LINE_PX * len(budget)
                         + LINE_PX * (len(_wrapped(lines)) + 1))
    y = float(TITLE_PX)
    for term in sorted(budget, key=lambda t: -t.standard_uncertainty):
        draw.text((12, y), f"{term.term}: {term.standard_uncertainty:.3f} {term.unit}",
                  font=font(17), fill=INK)
        draw.text((988, y), term.note, font=font(14), fill=INK, anchor="ra")
        draw.rectangle((12, y + 22, 12 + 976 * term.standard_uncertainty / largest, y + 32),
                       fill=TEAL)
        y += 2 * LINE_PX
    combined = [f"combined standard uncertainty (JCGM 100): "
                f"{combined_standard_uncertainty(budget):.3f} {budget[0].unit}"] if budget else []
    write_lines(draw, 12, y + 6, [*combined, *lines])
    return np.asarray(canvas)

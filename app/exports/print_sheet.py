"""What the sheets printed at true scale share: page, check rulers, wrapped words.

Lengths are mm on the paper, origin at its lower left corner, y up.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Literal

Paper = Literal["a4", "letter"]

#: What the papers are called on a page.
PAPERS: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}

RULER_MM = 100


def open_canvas(out: io.BytesIO, title: str, subject: str) -> Any:
    """A canvas whose viewer is asked to print at true scale; the same calls, the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    c = Canvas(out, invariant=True, pageCompression=0)
    c.setTitle(title)
    c.setSubject(subject)
    # Some viewers do not listen, hence the rulers.
    c.setViewerPreference("PrintScaling", "None")
    return c


def new_page(c: Any, paper: Paper) -> tuple[float, float]:
    """Begin a page on which one unit is one mm; its (width, height)."""
    from reportlab.lib.pagesizes import A4, LETTER
    from reportlab.lib.units import mm

    size = A4 if paper == "a4" else LETTER
    c.setPageSize(size)
    c.scale(mm, mm)
    c.setFillGray(0)
    c.setStrokeGray(0)
    return size[0] / mm, size[1] / mm


def ruler_across(c: Any, x: float, y: float) -> None:
    """100 mm from (x, y) to the right, a tick every 10 mm."""
    _ruler_pen(c)
    c.line(x, y, x + RULER_MM, y)
    for k, tick in _ticks():
        c.line(x + k, y, x + k, y - tick)
        if k % 50 == 0:
            c.drawCentredString(x + k, y - 7.5, f"{k}")
    c.drawCentredString(x + 25, y - 7.5, "mm, check ruler across")


def ruler_down(c: Any, x: float, y: float) -> None:
    """100 mm from (x, y) down: printers may differ in the two directions."""
    _ruler_pen(c)
    c.line(x, y, x, y - RULER_MM)
    for k, tick in _ticks():
        c.line(x, y - k, x + tick, y - k)
        if k % 50 == 0:
            c.drawString(x + 5, y - k - 1 + (2 if k == RULER_MM else 0), f"{k}")
    c.saveState()
    c.translate(x - 2.5, y - RULER_MM / 2)
    c.rotate(90)
    c.drawCentredString(0, 0, "mm, check ruler down")
    c.restoreState()


def _ruler_pen(c: Any) -> None:
    c.setStrokeGray(0)
    c.setLineWidth(0.25)
    c.setFont("Helvetica", 3)


def _ticks() -> list[tuple[int, float]]:
    return [(k, 4.0 if k % 50 == 0 else 2.0) for k in range(0, RULER_MM + 1, 10)]


def write(c: Any, x: float, y: float, room: float, texts: Sequence[str], *,
          font: str = "Helvetica", size: float, step: float) -> float:
    """Paragraphs in lines no wider than ``room``, the first at ``y``; where the next would be."""
    from reportlab.lib.utils import simpleSplit

    c.setFont(font, size)
    for text in texts:
        for line in simpleSplit(text, font, size, room):
            c.drawString(x, y, line)
            y -= step
        y -= 0.35 * step
    return y

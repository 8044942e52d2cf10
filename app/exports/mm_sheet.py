"""A sheet of paper for a lesson: a canvas that counts in mm from the top left corner."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from app.exports.drawing_pdf import pdf_drawing
from app.exports.print_sheet import Paper
from app.exports.sheet_text import BOLD, REGULAR, use_fonts
from vision.drawing.svg import Drawing

MM = 72 / 25.4
MARGIN = 14.0
HAIR, RULE = 0.35, 0.9

CAUTION = ("Computed chambers of no real make, for practice. Not a medical device; the local "
           "order and trained staff decide.")


class Sheet:
    """A canvas that counts in mm from the top left corner of the page."""

    def __init__(self, title: str, subject: str, paper: Paper = "a4") -> None:
        from reportlab.lib.pagesizes import A4, LETTER
        from reportlab.pdfgen.canvas import Canvas

        use_fonts()
        size = A4 if paper == "a4" else LETTER
        self.width, self.height = size[0] / MM, size[1] / MM
        self.buffer = io.BytesIO()
        self.canvas = Canvas(self.buffer, pagesize=size, invariant=1)
        self.canvas.setTitle(title)
        self.canvas.setAuthor("Countersight")
        self.canvas.setSubject(subject)
        self.page = 0

    def text(self, x: float, y: float, words: str, size: float = 9.0, bold: bool = False,
             right: bool = False) -> None:
        """One line of text with its base at (x, y)."""
        self.canvas.setFont(BOLD if bold else REGULAR, size)
        draw = self.canvas.drawRightString if right else self.canvas.drawString
        draw(x * MM, (self.height - y) * MM, words)

    def paragraph(self, x: float, y: float, words: str, width: float, size: float = 9.0) -> float:
        """Text broken into lines; returns where the next line would stand."""
        from reportlab.lib.utils import simpleSplit

        use_fonts()
        for line in simpleSplit(words, REGULAR, size, width * MM):
            self.text(x, y, line, size)
            y += size * 0.48
        return y

    def line(self, points: Sequence[tuple[float, float]], width: float = HAIR,
             dash: tuple[float, float] | None = None) -> None:
        """A line through points."""
        self.canvas.setLineWidth(width)
        self.canvas.setDash(*(dash,) if dash else ())
        path = self.canvas.beginPath()
        for i, (x, y) in enumerate(points):
            (path.lineTo if i else path.moveTo)(x * MM, (self.height - y) * MM)
        self.canvas.drawPath(path)
        self.canvas.setDash()

    def blank(self, x: float, y: float, words: str, to: float) -> None:
        """Words with a line to write on behind them."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        self.text(x, y, words, 8.5)
        start = x + stringWidth(words, REGULAR, 8.5) / MM + 1.5
        self.line([(start, y + 0.8), (to, y + 0.8)])

    def head(self, title: str, code: str, name: bool) -> None:
        """Open a page: title, the set's code, a place for the learner's code."""
        if self.page:
            self.canvas.showPage()
        self.page += 1
        self.text(MARGIN, 17, title, 14, bold=True)
        if code:
            self.text(self.width - MARGIN, 17, f"Set {code}", 10, bold=True, right=True)
        if name:
            self.blank(MARGIN, 25, "Your code (no name)", 92)
            self.blank(98, 25, "Date", self.width - MARGIN)
        self.line([(MARGIN, 29), (self.width - MARGIN, 29)], RULE)
        self.text(MARGIN, self.height - 9, CAUTION, 6.5)
        self.text(self.width - MARGIN, self.height - 9, f"sheet {self.page}", 6.5, right=True)

    def picture(self, x: float, y: float, image: Any, wide: float) -> float:
        """A picture ``wide`` mm wide with its top left corner at (x, y); returns its height."""
        from reportlab.lib.utils import ImageReader

        tall, data = wide * image.height / image.width, io.BytesIO()
        image.save(data, "JPEG", quality=88)
        data.seek(0)
        self.canvas.drawImage(ImageReader(data), x * MM, (self.height - y - tall) * MM,
                              wide * MM, tall * MM)
        return float(tall)

    def drawing(self, x: float, y: float, drawn: Drawing, wide: float) -> float:
        """A drawing ``wide`` mm wide with its top left corner at (x, y); returns its height."""
        from reportlab.graphics import renderPDF

        graphic = pdf_drawing(drawn, wide * MM)
        renderPDF.draw(graphic, self.canvas, x * MM, (self.height - y) * MM - graphic.height)
        return float(graphic.height / MM)

    def bytes(self) -> bytes:
        """The finished file."""
        self.canvas.save()
        return self.buffer.getvalue()

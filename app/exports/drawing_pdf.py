"""A drawing of ours as vectors in a PDF, with the sheet's letters."""

from __future__ import annotations

import io
from typing import Any

from app.exports.sheet_text import BOLD, REGULAR, use_fonts
from vision.drawing.svg import Drawing


def pdf_drawing(drawn: Drawing, width_points: float) -> Any:
    """The drawing in black as a ReportLab graphic ``width_points`` wide; it flows like a paragraph.

    Place it by hand with ``reportlab.graphics.renderPDF.draw(graphic, canvas, x, y)``.
    """
    from svglib.fonts import register_font
    from svglib.svglib import svg2rlg

    use_fonts()
    register_font(REGULAR, rlgFontName=REGULAR)
    register_font(BOLD, rlgFontName=BOLD)
    svg = (str(drawn.svg).replace("system-ui, sans-serif", REGULAR)
           .replace('font-weight="650"', f'font-family="{BOLD}"')
           .replace("currentColor", "#000000"))
    graphic: Any = svg2rlg(io.BytesIO(svg.encode("utf-8")))
    share = width_points / graphic.width
    graphic.scale(share, share)
    graphic.width, graphic.height = width_points, graphic.height * share
    return graphic

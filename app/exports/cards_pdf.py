"""The reference cards as a PDF at true scale: vectors in millimetres, no pixels."""

from __future__ import annotations

import io

from app.exports.board_pdf import draw_board
from app.exports.print_sheet import (
    Paper,
    new_page,
    open_canvas,
    ruler_across,
    ruler_down,
    write,
)
from vision import __version__
from vision.fiducials.cards import MODULES, CardKind, card_modules, landmark_card, zero_card

#: White rim round a black square, mm: the detector needs one module at least.
RIM_MM = 10.0

_HOW = (
    "1. Print at 100 % (no 'fit to page'). Measure both rulers: each must be 100 mm, 99 to 101 at"
    " the most; else print again, or type the measured size of the black squares into the tool.",
    "2. Use plain matte paper on card; a shiny surface hides the pattern. Cut along the thin lines"
    " and leave all of the white rim.",
    "3. Zero card: stick it flat and square on the hanging panel, its centre (the two side marks)"
    " at the zero reference, 'this side up' above.",
    "4. Landmark card: hold the tip of the pointer at the landmark that the order names, the card"
    " about upright and facing the phone. Cut out the pointer with its tip.",
    "5. Photograph both cards whole, from about an arm's length or two, with the pole and a hanging"
    " cord with a bob in the picture.",
)
_CAUTION = (
    "Paper near a patient follows the ward's cleaning and infection rules: use a card for one"
    " patient only or cover it as the ward allows, and throw it away when it is soiled. Keep it off"
    " the dressing and the lines. The cards show a height; the local order decides what to do.",
)


def cards_pdf(paper: Paper = "a4", board: bool = False) -> bytes:
    """The PDF of both cards on one page of the given paper.

    ``board`` adds a page with the calibration board of ``countersight lens``.
    """
    out = io.BytesIO()
    c = open_canvas(out, "Reference cards for the level",
                    "Zero card (code 0, 60 mm) and landmark card (code 1, 40 mm)"
                    + (", calibration board" if board else ""))
    width, height = new_page(c, paper)
    c.setFont("Helvetica-Bold", 6)
    c.drawString(18, height - 21, "Reference cards for the level")
    card_top = height - 27
    _zero_card(c, 62, card_top - 42, zero_card())
    _landmark_card(c, 158, card_top - 42, landmark_card())
    ruler_across(c, 32, card_top - 104)
    ruler_down(c, 22, card_top - 104)
    _words(c, card_top - 116, width)
    _foot(c, 18, 14)
    c.showPage()
    if board:
        draw_board(c, paper)
    c.save()
    return out.getvalue()


def _pattern(c, x: float, y: float, kind: CardKind) -> None:  # type: ignore[no-untyped-def]
    """Black square with its white modules, centre (x, y), mm."""
    side = kind.side_mm
    module = side / MODULES
    c.setFillGray(0)
    c.rect(x - side / 2, y - side / 2, side, side, stroke=0, fill=1)
    c.setFillGray(1)
    for j, row in enumerate(card_modules(kind.code)):
        i = 0
        while i < MODULES:
            if not row[i]:
                i += 1
                continue
            start = i
            while i < MODULES and row[i]:
                i += 1
            c.rect(x - side / 2 + start * module, y + side / 2 - (j + 1) * module,
                   (i - start) * module, module, stroke=0, fill=1)
    c.setFillGray(0)


def _outline(c, x: float, y: float, half: float) -> None:  # type: ignore[no-untyped-def]
    c.setStrokeGray(0.6)
    c.setLineWidth(0.1)
    c.rect(x - half, y - half, 2 * half, 2 * half, stroke=1, fill=0)
    c.setStrokeGray(0)


def _zero_card(c, x: float, y: float, kind: CardKind) -> None:  # type: ignore[no-untyped-def]
    """The zero card with marks at the height of its centre."""
    half = kind.side_mm / 2 + RIM_MM
    _outline(c, x, y, half)
    _pattern(c, x, y, kind)
    c.setLineWidth(0.3)
    for sign in (-1, 1):
        c.line(x + sign * (half - 6), y, x + sign * half, y)
    c.setFont("Helvetica", 3)
    c.drawCentredString(x, y + half - 6.5, "this side up   zero card   60 mm")
    c.drawCentredString(x, y - half + 3.6, "centre on the zero reference")


def _landmark_card(c, x: float, y: float, kind: CardKind) -> None:  # type: ignore[no-untyped-def]
    """The landmark card with its pointer, tip 35 mm left of the centre."""
    half = kind.side_mm / 2 + 8.0
    tip = kind.reference_mm[0]
    _outline(c, x, y, half)
    _pattern(c, x, y, kind)
    c.setFillGray(0)
    arrow = c.beginPath()
    arrow.moveTo(x + tip, y)
    arrow.lineTo(x - half - 0.0, y + 2.0)
    arrow.lineTo(x - half + 4.0, y + 2.0)
    arrow.lineTo(x - half + 4.0, y - 2.0)
    arrow.lineTo(x - half - 0.0, y - 2.0)
    arrow.close()
    c.drawPath(arrow, stroke=0, fill=1)
    c.setFont("Helvetica", 3)
    c.drawCentredString(x, y + half - 5.2, "this side up   landmark card   40 mm")
    c.drawCentredString(x, y - half + 3.0, "tip at the landmark")


def _words(c, top: float, width: float) -> None:  # type: ignore[no-untyped-def]
    """How to print, cut and hang, and the caution, beside the ruler that runs down."""
    room = width - 40.0 - 16.0
    y = write(c, 40.0, top, room, _HOW, size=3.4, step=4.7)
    write(c, 40.0, y, room, _CAUTION, font="Helvetica-Bold", size=3.4, step=4.7)


def _foot(c, left: float, low: float) -> None:  # type: ignore[no-untyped-def]
    c.setFont("Helvetica", 2.6)
    c.drawString(left, low, f"AprilTag 36h11, codes 0 and 1; black squares 60.0 mm and 40.0 mm;"
                            f" pointer tip 35.0 mm left of the centre. Countersight {__version__}")

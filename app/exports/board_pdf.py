"""The calibration board for ``countersight lens`` as a page at true scale, in vectors."""

from __future__ import annotations

from typing import Any

from app.exports.print_sheet import Paper, new_page, ruler_across, ruler_down, write
from vision import __version__
from vision.lens.board import FIRST_MARKER, Board

#: White kept free at the right of the board, mm; the left has room for the ruler.
_RIGHT_MM = 14.0
_TOP_MM = 23.5

_PRINT = (
    "Print at 100 % on plain matte paper and measure both rulers: 100 mm, 99 to 101 at the most. "
    "Tape it flat on a table or a stiff board.",
)
_SHOOT = (
    "Take 8 to 20 sharp photos without zoom, the phone held the same way: the board near each "
    "edge and corner of the picture in turn, and from about 30 degrees left, right, above and "
    "below. Then: countersight lens PHOTOS --out phone.json",
)


def draw_board(c: Any, paper: Paper, board: Board | None = None) -> None:
    """Draw the board's page on a canvas and end the page."""
    board = board or Board()
    width, height = new_page(c, paper)
    across, down = board.size_mm
    left, top = width - _RIGHT_MM - across, height - _TOP_MM
    low = top - down
    c.setFont("Helvetica-Bold", 4.5)
    c.drawString(18, height - 16.5, "Calibration board for the phone's camera")
    write(c, 18, height - 21, width - 18 - _RIGHT_MM, _PRINT, size=2.8, step=3.4)
    # One path: no hairline is left between neighbouring rectangles.
    black = c.beginPath()
    for x, y, w, h in board.black_rectangles_mm():
        black.rect(left + x, top - y - h, w, h)
    c.drawPath(black, stroke=0, fill=1)
    ruler_down(c, 18, top)
    ruler_across(c, 18, low - 3)
    write(c, 18 + 105, low - 3.4, width - 123 - _RIGHT_MM, _SHOOT, size=2.7, step=3.05)
    _facts(c, 18, low, board)
    c.showPage()


def _facts(c: Any, x: float, low: float, board: Board) -> None:
    """What the board is, up the left margin below the ruler."""
    import cv2

    last = FIRST_MARKER + board.columns * board.rows // 2 - 1
    c.saveState()
    c.translate(x, low)
    c.rotate(90)
    c.setFont("Helvetica", 2.3)
    c.drawString(0, 0, f"ChArUco {board.columns} x {board.rows}, squares {board.square_mm:g} mm;"
                       f" AprilTag 36h11 codes {FIRST_MARKER} to {last}, {board.marker_mm:g} mm."
                       f" OpenCV {cv2.__version__}, Countersight {__version__}")
    c.restoreState()

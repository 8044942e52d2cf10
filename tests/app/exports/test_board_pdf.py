"""The printed calibration board: true size, found by the very detector that calibrates."""

from __future__ import annotations

import io
import re
import shutil
import subprocess

import cv2
import numpy as np
import pytest
from printed_page import page_grey, page_shapes
from pypdf import PdfReader

from app.exports.cards_pdf import cards_pdf
from vision.imaging.photo import photo_from_array
from vision.lens.board import Board, find_board

BOARD = Board()
PX_PER_MM = 6
#: Sizes on the print: a hundredth of what a tape measure shows; the finder on a clean,
#: flat picture is good to a tenth of a pixel (0.017 mm).
SQUARE_ATOL_MM, CORNER_ATOL_MM = 0.02, 0.05
PAPERS = pytest.mark.parametrize("paper, size_mm", [
    ("a4", (210.0, 297.0)),  # ISO 216
    ("letter", (215.9, 279.4))])  # 8.5 in x 11 in (ANSI/ASME Y14.1)


def corners_mm(grey: np.ndarray, px_per_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Numbers and places of the corners found on a flat picture of the page."""
    rgb = np.repeat(np.round(grey).astype(np.uint8)[..., None], 3, 2)
    found = find_board(photo_from_array(rgb), BOARD)
    return found.numbers, (found.points_px + 0.5) / px_per_mm


def check_corners(numbers: np.ndarray, places: np.ndarray) -> None:
    """All corners, each where the board says, squares of 23 mm both ways."""
    assert sorted(numbers) == list(range((BOARD.columns - 1) * (BOARD.rows - 1)))
    flat = BOARD.corner_mm(numbers)[:, :2]
    offset = np.median(places - flat, axis=0)
    assert np.abs(places - flat - offset).max() < CORNER_ATOL_MM
    ours = places[np.argsort(numbers)].reshape(BOARD.rows - 1, BOARD.columns - 1, 2)
    assert np.diff(ours[..., 0], axis=1).mean() == pytest.approx(23.0, abs=SQUARE_ATOL_MM)
    assert np.diff(ours[..., 1], axis=0).mean() == pytest.approx(23.0, abs=SQUARE_ATOL_MM)


@pytest.mark.slow
@PAPERS
def test_the_board_of_the_lens_command_is_found_on_the_page(paper, size_mm):
    pdf = cards_pdf(paper, board=True)
    (width, height), _, _ = page_shapes(pdf, 1)
    assert (width, height) == pytest.approx(size_mm, abs=0.01)
    check_corners(*corners_mm(page_grey(pdf, 1, PX_PER_MM), PX_PER_MM))


@PAPERS
def test_the_drawn_squares_are_those_of_an_independent_board(paper, size_mm):
    """OpenCV's own picture of the board (CharucoBoard.generateImage), 8 px a cell of 17/8 mm."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    own = cv2.aruco.CharucoBoard((7, 10), 23.0, 17.0, family, np.arange(100, 135))
    wanted = own.generateImage((161 * PX_PER_MM, 230 * PX_PER_MM))
    pdf = cards_pdf(paper, board=True)
    (_, height), rectangles, _ = page_shapes(pdf, 1)
    left, top = min(r[1] for r in rectangles), height - max(r[4] for r in rectangles)
    page = page_grey(pdf, 1, PX_PER_MM, 255, 0)
    shift = np.array([[1, 0, -left * PX_PER_MM], [0, 1, -top * PX_PER_MM]])
    ours = cv2.warpAffine(page, shift, (161 * PX_PER_MM, 230 * PX_PER_MM))
    # Only edges may differ: OpenCV rounds every cell to whole pixels.
    assert np.mean((ours > 127) != (wanted > 127)) < 0.03
    inner = cv2.erode((wanted == 255).astype(np.uint8), np.ones((7, 7))) > 0
    assert inner.any() and ours[inner].min() > 250


@PAPERS
def test_everything_on_the_page_lies_inside_the_margins(paper, size_mm):
    _, rectangles, lines = page_shapes(cards_pdf(paper, board=True), 1)
    places = np.array([r[1:] for r in rectangles] + lines).reshape(-1, 2, 2)
    assert places.min() >= 12
    assert (np.array(size_mm) - places.max((0, 1))).min() >= 12


@PAPERS
def test_both_check_rulers_are_100_mm(paper, size_mm):
    _, _, lines = page_shapes(cards_pdf(paper, board=True), 1)
    across = [abs(x1 - x0) for x0, y0, x1, y1 in lines if abs(y1 - y0) < 1e-6]
    down = [abs(y1 - y0) for x0, y0, x1, y1 in lines if abs(x1 - x0) < 1e-6]
    assert max(across) == pytest.approx(100, abs=0.01)
    assert max(down) == pytest.approx(100, abs=0.01)


@PAPERS
def test_the_page_says_what_it_is_and_how_to_photograph_it(paper, size_mm):
    page = PdfReader(io.BytesIO(cards_pdf(paper, board=True))).pages[1]
    text = re.sub(r"\s+", " ", page.extract_text())
    for words in ("100 %", "8 to 20 sharp photos", "without zoom", "30 degrees",
                  "countersight lens", "squares 23 mm", "36h11 codes 100 to 134",
                  f"OpenCV {cv2.__version__}"):
        assert words in text


def test_the_bedside_sheet_has_the_cards_alone():
    assert len(PdfReader(io.BytesIO(cards_pdf("a4"))).pages) == 1


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="no PDF renderer (poppler) here")
@PAPERS
def test_as_a_renderer_of_its_own_shows_the_page(paper, size_mm, tmp_path):
    """Words included, drawn by poppler at 150 dots an inch."""
    (tmp_path / "cards.pdf").write_bytes(cards_pdf(paper, board=True))
    subprocess.run(["pdftoppm", "-r", "150", "-f", "2", "-l", "2", "-gray", "-singlefile",
                    tmp_path / "cards.pdf", tmp_path / "page"], check=True, timeout=60)
    grey = cv2.imread(str(tmp_path / "page.pgm"), cv2.IMREAD_GRAYSCALE)
    check_corners(*corners_mm(grey.astype(float), 150 / 25.4))

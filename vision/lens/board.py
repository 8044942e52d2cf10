"""The calibration board: a chessboard whose white squares carry markers (ChArUco).

Lengths in mm on the print, origin at the board's top left corner, x to the
right, y down.  Pixels have their origin at the centre of the top-left pixel.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.true_intervals import true_intervals

if TYPE_CHECKING:
    from vision.imaging.photo import Photo

#: The board's markers are of the cards' family (AprilTag 36h11); their numbers begin
#: here, so that a board in the picture is never taken for a card.
FIRST_MARKER = 100
_MARKER_CELLS = 8  # 6 x 6 bits and the black frame


@dataclass(frozen=True)
class Board:
    """The printed board: ``columns`` x ``rows`` squares.

    The standard board is 161 mm x 230 mm: with check rulers and words it fits both A4 and
    Letter inside margins of 12 mm.
    """

    columns: int = 7
    rows: int = 10
    square_mm: float = 23.0
    marker_mm: float = 17.0

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        return self.columns * self.square_mm, self.rows * self.square_mm

    @cached_property
    def detector(self) -> Any:
        """OpenCV's detector for this board."""
        import cv2

        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
        return cv2.aruco.CharucoDetector(self._board, cv2.aruco.CharucoParameters(), parameters)

    @cached_property
    def _board(self) -> Any:
        import cv2

        family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
        count = self.columns * self.rows // 2
        return cv2.aruco.CharucoBoard(
            (self.columns, self.rows), self.square_mm, self.marker_mm, family,
            np.arange(FIRST_MARKER, FIRST_MARKER + count, dtype=np.int32))

    def corner_mm(self, numbers: np.ndarray) -> np.ndarray:
        """(N, 3) places of inner corners, z = 0; numbers run along the rows from top left."""
        row, column = np.divmod(np.asarray(numbers), self.columns - 1)
        x, y = (column + 1) * self.square_mm, (row + 1) * self.square_mm
        return np.stack([x, y, np.zeros_like(x)], axis=1).astype(np.float32)

    def black_rectangles_mm(self) -> list[tuple[float, float, float, float]]:
        """(x, y, width, height) of everything black: draw these to print the board."""
        import cv2

        family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
        cell, inset = self.marker_mm / _MARKER_CELLS, (self.square_mm - self.marker_mm) / 2
        out, marker = [], FIRST_MARKER
        for row in range(self.rows):
            for column in range(self.columns):
                x, y = column * self.square_mm, row * self.square_mm
                if (row + column) % 2 == 0:
                    out.append((x, y, self.square_mm, self.square_mm))
                    continue
                bits = cv2.aruco.generateImageMarker(family, marker, _MARKER_CELLS)
                marker += 1
                for j, line in enumerate(np.asarray(bits) == 0):
                    out += [(x + inset + a * cell, y + inset + j * cell, (b - a) * cell, cell)
                            for a, b in true_intervals(line).tolist()]
        return out


@dataclass(frozen=True)
class BoardSeen:
    """Inner corners found in one photo: (N,) numbers and (N, 2) pixels of the full photo."""

    numbers: np.ndarray
    points_px: np.ndarray


def find_board(photo: Photo, board: Board) -> BoardSeen:
    """Find the board's inner corners to a fraction of a pixel.

    Parameters
    ----------
    photo : Photo
    board : Board
        What was printed.

    Returns
    -------
    BoardSeen
        Without corners (N is 0) where none is seen; pixels have their origin at the centre
        of the top-left one.
    """
    import cv2

    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    points, numbers, _, _ = board.detector.detectBoard(grey)
    if points is None or numbers is None or len(points) == 0:
        return BoardSeen(np.empty(0, int), np.empty((0, 2)))
    # OpenCV 5 gives (N, 2) and (N,) where version 4 gave an extra axis.
    return BoardSeen(np.asarray(numbers).reshape(-1).astype(int),
                     np.asarray(points, dtype=float).reshape(-1, 2))

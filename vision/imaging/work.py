"""How much is tried before a picture is given up."""

from __future__ import annotations

from dataclasses import dataclass

from vision.parameters import MOST_ROWS_TRIED


@dataclass
class Work:
    """What is left of the rows that may be tried on one picture, in all its looks together.

    A chamber that shows is found in the first few; where none is there, every row of strokes can
    be laid against the scale in hundreds of ways.
    """

    left: int = MOST_ROWS_TRIED

    def take(self, rows: int = 1) -> bool:
        """Whether so many rows may still be tried; they are then counted."""
        allowed = self.left >= rows
        if allowed:
            self.left -= rows
        return allowed

"""The two views of a strip in which the surface is looked for.

WHOLE takes in the chamber from below the lowest to above the highest mark; WINDOW
is a close view round a candidate surface, in true millimetres since the meniscus
has a size of its own.  Sampling is the same for photos and for training scenes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

REACH = 0.985


@dataclass(frozen=True)
class Grid:
    """Rows and columns of a view; ``step_mm`` is the height of a row."""

    rows: int
    columns: int
    step_mm: float
    top_mm: float

    @property
    def height_mm(self) -> np.ndarray:
        """(rows,) heights of the row centres, from the top down."""
        return self.top_mm - self.step_mm * (np.arange(self.rows) + 0.5)

    @property
    def across(self) -> np.ndarray:
        """(columns,) positions across, -1 to 1."""
        edge = np.linspace(-REACH, REACH, self.columns + 1)
        return 0.5 * (edge[:-1] + edge[1:])


WHOLE_ROWS, WHOLE_COLUMNS = 384, 32
WHOLE_ABOVE_MM, WHOLE_BELOW_MM = 18.0, 10.0
WINDOW_ROWS, WINDOW_COLUMNS, WINDOW_STEP_MM = 160, 48, 0.1
#: In teaching a window's middle is this far from the front line at the most; so many rows
#: are made more above and below it, for its middle to be moved.
NEAR_MM = 1.6
SPARE_ROWS = round(NEAR_MM / WINDOW_STEP_MM)


def whole_grid(lowest_mm: float, highest_mm: float) -> Grid:
    """The view of the whole scale, with room above and below."""
    low, high = min(lowest_mm, highest_mm), max(lowest_mm, highest_mm)
    span = high - low + WHOLE_ABOVE_MM + WHOLE_BELOW_MM
    return Grid(WHOLE_ROWS, WHOLE_COLUMNS, span / WHOLE_ROWS, high + WHOLE_ABOVE_MM)


def window_grid(centre_mm: float, spare_rows: int = 0) -> Grid:
    """The close view round a height, ``spare_rows`` taller at either end."""
    rows = WINDOW_ROWS + 2 * spare_rows
    return Grid(rows, WINDOW_COLUMNS, WINDOW_STEP_MM, centre_mm + WINDOW_STEP_MM * rows / 2)

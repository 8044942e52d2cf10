"""The outside of a chamber along its axis: on which radius each mark is printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Outline:
    """``height_mm`` (N,), rising, and the outer radius ``radius_mm`` (N,) there.

    Straight between them; beyond the ends the wall goes on as it is there.
    """

    height_mm: tuple[float, ...]
    radius_mm: tuple[float, ...]

    def at(self, height_mm: Any) -> np.ndarray:
        """Outer radius in mm at heights of any shape."""
        return np.asarray(np.interp(height_mm, self.height_mm, self.radius_mm))

    def part(self, height_mm: Any) -> np.ndarray:
        """Which part of the wall heights belong to: the same number for the same radius to a mm."""
        return np.round(self.at(height_mm)).astype(int)

    @property
    def widest_mm(self) -> float:
        """The largest outer radius."""
        return max(self.radius_mm)

    def behind_mm(self, height_mm: Any) -> np.ndarray:
        """How far the front of the wall stands behind that of its widest part."""
        return np.asarray(self.widest_mm - self.at(height_mm))

"""How the marks of a scale lie apart: evenly, evenly in part, or ever closer in a tapered bore."""

from __future__ import annotations

import numpy as np

from vision.scale_file.scale import Scale

#: Share by which gaps of one row differ at most, and share of the marks that lie evenly in one run,
#: under which a scale is uneven.
_SAME_GAP, _UNEVEN = 0.03, 0.6
#: Share by which gaps differ within what is laid against a row as one piece.
SAME_RUN = 0.06


def main_run(scale: Scale) -> np.ndarray:
    """Indices of the longest stretch of evenly spaced marks; of all marks where that is short, as
    in a tapered bore: any shift then moves all of them, and the gaps hardly change."""
    h = np.array([m.height_mm for m in scale.marks])
    gap = np.diff(h)
    best, start = np.arange(2), 0
    for i in range(1, len(gap) + 1):
        if i == len(gap) or abs(gap[i] / gap[start] - 1) > _SAME_GAP:
            if i - start + 1 > len(best):
                best = np.arange(start, i + 1)
            start = i
    return best if len(best) >= _UNEVEN * len(h) else np.arange(len(h))


def is_even(height_mm: np.ndarray) -> bool:
    """Whether the gaps between marks are all alike."""
    gap = np.diff(height_mm)
    return bool(np.abs(gap / gap[0] - 1.0).max() <= _SAME_GAP)


def is_tapered(height_mm: np.ndarray) -> bool:
    """Whether the gaps change little by little, as in a tapered bore, and not at a step."""
    gap = np.diff(height_mm)
    return not is_even(height_mm) and bool(np.abs(gap[1:] / gap[:-1] - 1.0).max() <= SAME_RUN)


def lattice_heights(height_mm: np.ndarray, lattice: np.ndarray) -> np.ndarray:
    """(L,) heights of the places ``lattice`` of a row of marks (N,), 0 its first; beyond its ends
    the places go on as the last two marks lie apart."""
    last = len(height_mm) - 1
    if is_even(height_mm):
        return np.asarray(height_mm[0] + (height_mm[-1] - height_mm[0]) / last * lattice)
    inside = height_mm[np.clip(lattice, 0, last)]
    below = np.minimum(lattice, 0) * (height_mm[1] - height_mm[0])
    above = np.maximum(lattice - last, 0) * (height_mm[-1] - height_mm[-2])
    return np.asarray(inside + below + above)

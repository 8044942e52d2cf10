"""Unbroken stretches of True in a row of yes and no."""

from __future__ import annotations

import numpy as np


def true_intervals(mask: np.ndarray) -> np.ndarray:
    """(R, 2) first index and the one after the last of each stretch of True in (N,)."""
    padded = np.concatenate([[0], np.asarray(mask).astype(np.int8), [0]])
    return np.asarray(np.flatnonzero(np.diff(padded)).reshape(-1, 2))

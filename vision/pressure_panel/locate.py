"""First stage: the marks of the scale, numbered in every way that fits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, PASCAL_PER
from vision.imaging.photo import Photo
from vision.parameters import UNIT_RATIO_SHARE
from vision.pressure_panel.planar_scale import (
    FlatLadder,
    division_ratio,
    find_flat_ladders,
    same_ladder,
)
from vision.scale_file.scale import Scale

#: Two units side by side: the ratio of one step of mm[Hg] to one of cm[H2O].
_UNIT_RATIO = PASCAL_PER[MM_HG_CODE] / PASCAL_PER[CM_H2O_CODE]
_OTHER_STEP = {CM_H2O_CODE: _UNIT_RATIO, MM_HG_CODE: 1 / _UNIT_RATIO}

#: What is tried, in this order; the next one only while no complete row is found.
STRATEGIES: tuple[tuple[str, Callable[[np.ndarray], np.ndarray]], ...] = (
    ("dark print", lambda grey: grey),
    ("light print", lambda grey: 255.0 - grey),
)


@dataclass(frozen=True)
class RowsFound:
    """``ways`` to number the row in this scale's unit, the likeliest first.

    ``grey`` (H, W) float32 is the working picture with the print dark.  ``unit_shown`` says
    that a row in the other unit stands beside this one: their steps tell which is which.
    """

    ways: tuple[FlatLadder, ...]
    strategy: str
    grey: np.ndarray
    unit_shown: bool


def find_rows(photo: Photo, scale: Scale, near: tuple[float, float]) -> RowsFound | None:
    """The row of marks near a point of the working picture; None where none could be it."""
    grey = cv2.cvtColor(photo.working_rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    found: list[FlatLadder] = []
    served, seen = "", grey
    for name, as_dark in STRATEGIES:
        again = find_flat_ladders(as_dark(grey), scale, near)
        if again and (not found or again[0].score > found[0].score):
            found, served, seen = again, name, as_dark(grey)
        if found and found[0].complete:
            break
    if not found:
        return None
    first, unit_shown = _in_unit(found, scale)
    return RowsFound(tuple(w for w in found if same_ladder(w, first)), served, seen, unit_shown)


def _in_unit(found: list[FlatLadder], scale: Scale) -> tuple[FlatLadder, bool]:
    """The row with this scale's steps, and whether another one beside it proves the unit."""
    first = found[0]
    other = next((w for w in found if not same_ladder(w, first)), None)
    if other is None or scale.unit not in _OTHER_STEP:
        return first, False
    ratio, own = division_ratio(first, other), _OTHER_STEP[scale.unit]
    if abs(ratio * own - 1) < UNIT_RATIO_SHARE:
        return other, True  # the row beside it has this scale's step
    return first, abs(ratio / own - 1) < UNIT_RATIO_SHARE

"""What a level line parts: how differently the tube looks above it and below it.

A liquid bends the light that crosses the tube: outlines of the bore, shadows and what stands behind
lie elsewhere across it than they do in air, and colours change.  A dried trace, a film's
edge or a printed line is a line, too, but the tube goes on below it as it was above.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.views import Grid
from vision.parameters import (
    LEAST_PARTED,
    LEAST_PARTED_SHARE,
    PLAINLY_PARTED,
    PLAINLY_PARTED_SHARE,
)

#: What the meniscus covers to both sides of its line, and how much beyond is looked at: as far as
#: from one numbered mark to the next, so that as much print lies above as below, within limits, mm.
_MENISCUS_MM, _LEAST_MM, _MOST_MM = 1.5, 2.5, 6.0
#: Share by which the bore may differ where two places are compared.
_SAME_BORE = 0.1
#: So many other places are needed to tell how much the tube changes anyhow.
_FEWEST = 4
#: Added to the brightness, grey levels: what is black changes by noise only.
_BLACK = 20.0
#: Share of the width that has to lie in the photo.
_LEAST_SEEN = 0.8


@dataclass(frozen=True)
class Parting:
    """How much the tube changes at a line: ``contrast`` as a share of its brightness, and
    ``share`` of the largest change elsewhere in a bore as wide."""

    contrast: float
    share: float

    @property
    def of_nothing(self) -> bool:
        """Whether the tube goes on below the line as it was above."""
        return self.contrast < LEAST_PARTED and self.share < LEAST_PARTED_SHARE

    @property
    def is_plain(self) -> bool:
        """Whether it plainly looks otherwise below than above, as at hardly any other place."""
        return self.contrast >= PLAINLY_PARTED and self.share >= PLAINLY_PARTED_SHARE


def parting_at(whole: np.ndarray, grid: Grid, fit: GraduationFit, height_mm: float
               ) -> Parting | None:
    """What parts the tube at a height; None where too little is seen to tell.

    ``whole`` is (rows, columns, 3), the unrolled chamber on ``grid``, NaN outside the photo.
    """
    reach_mm = _reach_mm(fit)
    band = max(round(reach_mm / grid.step_mm), 1)
    gap = max(round(_MENISCUS_MM / grid.step_mm), 1)
    z = grid.height_mm
    here = round((z[0] - height_mm) / grid.step_mm)
    change, contrast = _change(whole, here, gap, band)
    if not np.isfinite(change):
        return None
    marks = [m.height_mm for m in fit.scale.marks]
    there = ((np.abs(z - height_mm) > reach_mm + _MENISCUS_MM + 1.0)
             & (z > min(marks) - 2.0) & (z < max(marks) + 2.0)
             & of_one_tube(fit, height_mm, z))
    every = max(round(1.0 / grid.step_mm), 1)
    others = [_change(whole, int(k), gap, band)[0] for k in np.flatnonzero(there)[::every]]
    others = [c for c in others if np.isfinite(c)]
    if len(others) < _FEWEST:
        return None
    return Parting(contrast, change / max(*others, 1.0))


def of_one_tube(fit: GraduationFit, height_mm: float, others_mm: np.ndarray) -> np.ndarray:
    """(N,) True for heights where the bore is about as wide as at ``height_mm``: what is on the
    other side of a step looks otherwise, ring or not."""
    bore = [fit.scale.inner_radius_mm(float(fit.scale.value_at(z)))
            for z in (height_mm, *others_mm)]
    return np.abs(np.array(bore[1:]) - bore[0]) < _SAME_BORE * bore[0]


def _reach_mm(fit: GraduationFit) -> float:
    """From one numbered mark to the next, within limits."""
    long = np.sort([m.height_mm for m in fit.scale.marks if m.length == "long"])
    every = long if len(long) > 2 else np.sort([m.height_mm for m in fit.scale.marks])
    return float(np.clip(np.median(np.diff(every)), _LEAST_MM, _MOST_MM))


def _change(whole: np.ndarray, row: int, gap: int, band: int) -> tuple[float, float]:
    """Root mean square difference between the bands above and below a row, over the width of the
    tube, in grey levels and as a share of the brightness; NaN outside the photo."""
    above, below = whole[max(row - gap - band, 0):max(row - gap, 0)], whole[row + gap:][:band]
    if min(len(above), len(below)) < band:
        return float("nan"), float("nan")
    seen = ~np.isnan(np.concatenate([above, below])).any(axis=(0, 2))
    if seen.mean() < _LEAST_SEEN:
        return float("nan"), float("nan")
    first, second = np.median(above[:, seen], axis=0), np.median(below[:, seen], axis=0)
    square = (first - second) ** 2
    light = (first + second) / 2 + _BLACK
    return float(np.sqrt(np.mean(square))), float(np.sqrt(np.mean(square / light**2)))

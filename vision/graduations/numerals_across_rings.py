"""Numbers printed across marks that run round the tube, which are not broken for them.

The ring of the mark runs through the middle of its number, those of its neighbours through its
ends.  In each column of the unrolled wall the rings are bridged from above to below, and where no
number stands nothing is left: that shows where the numbers are.  There the rings are filled in as
the strokes about them run on (biharmonic inpainting: S. B. Damelin and N. S. Hoang, *On Surface
Completion and Image Inpainting by Biharmonic Functions*, Int. J. Math. Math. Sci. 2018, 3950312).
"""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.numeral_reader import HALF_PATCH_MM
from vision.graduations.numerals_in_rings import (
    APART_MM,
    REACH_MM,
    ROOM_MM,
    number_columns,
    wall_about,
)
from vision.graduations.unrolled_samples import sample

#: Azimuth (deg) that marks span, at least, where numbers may stand across them.
_WIDE_DEG = 50.0
#: Half the height of the band about a mark in which its number is looked for.
_BAND_MM = 1.3
#: Rows of the wall are a ring's where they are darker than the wall by this share of the darkest
#: row, and so far on either side of them.
_RING_SHARE, _RING_EDGE_MM = 0.25, 0.12
#: A place is at least so wide, and shows this share of the ink of the place with most; a number
#: reaches as far as there is this share of its own darkest column's.
_LEAST_WIDE_MM, _MORE_INK, _OWN_INK = 1.5, 0.35, 0.4
#: Where some numbers are hidden the others still tell: the quantile that is compared.
_SEEN = 0.7
#: So many places are looked at, those with most ink first; and so many marks settle a numbering.
_MOST_PLACES, _MOST_MARKS = 2, 8
#: Grey levels that ink is darker than the wall, at least.
_LEAST_LEVELS = 6.0


def patches_across_rings(fit: GraduationFit, marks: list[int]
                         ) -> list[tuple[int, list[int], list[np.ndarray | None]]]:
    """Patches of the wall where something is printed across the rings of ``marks`` (indices).

    Returns, for each azimuth at which the numbers may be, the side on which it lies (-1 left, 1
    right of the middle), the marks looked at and for each of them an (h, w) float32 patch with
    upright digits and no rings, or None where it leaves the photo.  Empty where the marks are
    short, or nothing stands across them that does not stand between them as well.
    """
    left, right = fit.reach_deg("long")
    if right - left < _WIDE_DEG or len(marks) < 2:
        return []
    if len(marks) > _MOST_MARKS:
        marks = [marks[k] for k in np.unique(np.linspace(0, len(marks) - 1, _MOST_MARKS)
                                             .round().astype(int))]
    pose, height = fit.pose, np.array([fit.scale.marks[i].height_mm for i in marks])
    px_mm, azimuth, z = wall_about(fit, height, HALF_PATCH_MM)

    def walls(heights: np.ndarray) -> tuple[list[np.ndarray], list[np.ndarray], np.ndarray]:
        grey = [sample(fit.grey, pose.project_wall(azimuth, z0 + z)) for z0 in heights]
        rings = [_ring_rows(wall, px_mm) for wall in grey]
        ink = np.array([_ink(_bridged(wall, ring)[np.abs(z) < _BAND_MM])
                        for wall, ring in zip(grey, rings, strict=True)])
        return grey, rings, np.nan_to_num(ink)  # outside the photo there is none

    here, rings, ink = walls(height)
    *_, plain = walls(0.5 * (height[1:] + height[:-1]))
    more = np.quantile(ink, _SEEN, axis=0) - np.quantile(plain, _SEEN, axis=0)
    return [(-1 if azimuth[first] + azimuth[last] < 0 else 1, marks,
             [_patch(*wall, first, last, px_mm) for wall in zip(here, rings, ink, strict=True)])
            for first, last in _places(more, px_mm)]


def _ring_rows(grey: np.ndarray, px_mm: float) -> np.ndarray:
    """(rows,) True where a ring runs through the wall; nowhere if little else is left."""
    none = np.zeros(len(grey), dtype=bool)
    if not np.isfinite(grey).any(axis=1).all():
        return none
    usual = np.nanmedian(grey, axis=1)
    from scipy.ndimage import binary_dilation, grey_closing

    wide = 2 * round(0.8 * px_mm) + 1
    dark = grey_closing(usual, size=wide, mode="nearest") - usual
    if dark.max() < _LEAST_LEVELS:
        return none
    ring = binary_dilation(dark > _RING_SHARE * dark.max(),
                           iterations=max(1, round(_RING_EDGE_MM * px_mm)))
    return none if np.count_nonzero(~ring) < 4 else np.asarray(ring)


def _bridged(grey: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """The wall with straight lines across the rings, column by column."""
    kept, at = np.flatnonzero(~ring), np.arange(len(grey))
    above = kept[np.clip(np.searchsorted(kept, at, side="right") - 1, 0, len(kept) - 1)]
    below = kept[np.clip(np.searchsorted(kept, at, side="left"), 0, len(kept) - 1)]
    share = np.where(below > above, (at - above) / np.maximum(below - above, 1), 0.0)[:, None]
    return np.asarray(grey[above] * (1 - share) + grey[below] * share, dtype=np.float32)


def _ink(wall: np.ndarray) -> np.ndarray:
    """(columns,) grey levels that the darkest fifth of a column is below the wall about it."""
    from scipy.ndimage import median_filter

    dark = np.quantile(wall, 0.2, axis=0)
    ground = np.median(wall, axis=0)
    about = median_filter(ground, size=max(3, len(ground) // 6), mode="nearest")
    return np.asarray(about - dark)


def _places(more_ink: np.ndarray, px_mm: float) -> list[tuple[int, int]]:
    """First and last columns of where there is more ink than is usual."""
    from scipy.ndimage import uniform_filter1d

    smooth = uniform_filter1d(more_ink, max(1, round(1.0 * px_mm)), mode="nearest")
    least = max(_LEAST_LEVELS, _MORE_INK * float(smooth.max()))
    high = np.flatnonzero(smooth > least)
    if not len(high):
        return []
    runs = [run for run in np.split(high, np.flatnonzero(np.diff(high) > APART_MM * px_mm) + 1)
            if run[-1] - run[0] >= _LEAST_WIDE_MM * px_mm]
    runs.sort(key=lambda run: -float(smooth[run].sum()))
    return [(int(run[0]), int(run[-1])) for run in runs[:_MOST_PLACES]]


def _patch(grey: np.ndarray, ring: np.ndarray, ink: np.ndarray, first: int, last: int,
           px_mm: float) -> np.ndarray | None:
    """What stands at the common place, as far as it reaches, without the rings."""
    reach, margin = round(REACH_MM * px_mm), round(ROOM_MM * px_mm)
    start, end = max(first - reach, 0), min(last + reach + 1, grey.shape[1])
    if not np.isfinite(grey[:, start:end]).all():
        return None
    here = ink[start:end]
    left, right = number_columns(here > _OWN_INK * max(float(here.max()), _LEAST_LEVELS),
                                 (first + last) // 2 - start, round(APART_MM * px_mm))
    left, right = min(left, first - start), max(right, last - start)
    out = grey[:, start + max(left - margin, 0):start + right + margin + 1]
    if not ring.any():
        return out
    from skimage.restoration import inpaint_biharmonic

    return np.asarray(inpaint_biharmonic(out, np.broadcast_to(ring[:, None], out.shape)),
                      dtype=np.float32)

"""Numbers that stand in the marks themselves: marks that run round the tube are broken for them.

Where the marks end nothing is printed then.  A number's place is where the ring of its mark is
interrupted, at about the same azimuth in all of them; what is left of the rings beside it is taken
out, since a reader of digits would see a minus in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.unrolled_samples import sample
from vision.parameters import RING_DEG

#: Half the height of a patch; how far either side of a mark its stroke reaches, and from where to
#: where it is looked for ink that is none of the stroke's.
_HALF_MM, _STROKE_MM, _BESIDE_MM = 3.0, 0.45, (0.55, 1.4)
#: A break is at least so wide (a digit with room about it), and shows less than this share of the
#: ink of the ring elsewhere.
_LEAST_BREAK_MM, _BROKEN = 1.5, 0.6
#: How far beyond the common break a longer number may reach, and room left about a number.
REACH_MM, ROOM_MM = 6.0, 1.2
#: A gap between digits is narrower than this.
APART_MM = 1.3
#: Share of a ring's ink from which there is ink beside it.
_SOME_INK = 0.3
#: So many places are looked at, the emptiest first.
_MOST_PLACES = 3
#: Grey levels that a ring is darker than what is beside it, at least.
_LEAST_LEVELS = 5.0
_LIMIT_RAD = np.radians(70.0)


def patches_in_rings(fit: GraduationFit, marks: list[int], *, alone: bool = False
                     ) -> list[tuple[int, list[np.ndarray | None]]]:
    """Patches of the wall where the rings of ``marks`` (indices) are broken.

    Returns, for each azimuth at which they may be, the side on which it lies (-1 left, 1 right of
    the middle) and for each mark an (h, w) float32 patch with upright digits and no ring, or None
    where it leaves the photo or shows no ring.  ``alone`` says that marks without a number are not
    in the picture.  Empty where marks do not run round.
    """
    if not fit.runs_round("long") or not marks:
        return []
    strips = _strips(fit, marks, alone)
    broken = _broken_at(strips)
    return [(-1 if strips.azimuth[middle] < 0 else 1,
             [_patch(strips, k, middle) for k in range(len(marks))]) for middle in broken]


@dataclass(frozen=True)
class _Strips:
    """The wall right across, unrolled about each mark: ``grey`` (M, rows, columns), ``z`` (rows,)
    mm above the mark, ``azimuth`` (columns,) rad, ``ink`` (M, columns) how much darker the ring is
    than what is beside it, in shares of its middle value (NaN where no ring is seen), ``levels``
    (M,) that value."""

    grey: np.ndarray
    z: np.ndarray
    azimuth: np.ndarray
    px_mm: float
    ink: np.ndarray
    levels: np.ndarray

    def columns(self, length_mm: float) -> int:
        """How many columns a length is."""
        return max(1, round(length_mm * self.px_mm))


def _strips(fit: GraduationFit, marks: list[int], alone: bool) -> _Strips:
    pose = fit.pose
    height = np.array([fit.scale.marks[i].height_mm for i in marks])
    every = np.array([m.height_mm for m in fit.scale.marks])
    apart = np.abs(every[None] - height[:, None])
    # rings of other marks are kept out; where those are short marks the place is beside them
    left, right = fit.reach_deg("short")
    ringed = right - left >= RING_DEG
    labelled = np.array([m.label or (ringed and not alone) for m in fit.scale.marks])
    gaps = apart[:, labelled]
    half = min(_HALF_MM, float(gaps[gaps > 0].min(initial=np.inf)) - _STROKE_MM)
    px_mm, azimuth, z = wall_about(fit, height, half)
    if not ringed:
        # short marks stand within the long ones: no number is among them
        azimuth = _beside(azimuth, fit.core_rad)
    grey = np.stack([sample(fit.grey, pose.project_wall(azimuth, z0 + z)) for z0 in height])
    near = np.abs(z)
    beside = (near > _BESIDE_MM[0]) & (near < 2 * _BESIDE_MM[0])
    drop = np.full_like(grey[:, 0], np.nan)
    if beside.any():  # rings may be too close together
        stroke = grey[:, near < 0.5 * _STROKE_MM].mean(axis=1)
        drop = np.median(grey[:, beside], axis=1) - stroke
    levels = np.median(drop, axis=1)
    seen = np.isfinite(levels) & (levels > _LEAST_LEVELS)
    with np.errstate(invalid="ignore", divide="ignore"):
        ink = np.where(seen[:, None], drop / levels[:, None], np.nan)
    return _Strips(grey, z, azimuth, px_mm, ink, levels)


def wall_about(fit: GraduationFit, height_mm: np.ndarray, half_mm: float
               ) -> tuple[float, np.ndarray, np.ndarray]:
    """Samples a millimetre, and where the wall is sampled about heights (N,): azimuths (columns,)
    right across, rad, and how far above them (rows,), downwards, mm."""
    pose = fit.pose
    px_mm = float(np.clip(pose.px_per_mm(float(np.median(height_mm))), 3.0, 9.0))
    limit = min(float(_LIMIT_RAD), float(pose.limb_azimuth_rad()) - 0.06)
    radius = float(np.median(pose.radius_at_mm(height_mm)))
    return (px_mm, np.linspace(-limit, limit, max(16, int(2 * limit * radius * px_mm))),
            np.linspace(half_mm, -half_mm, max(8, int(2 * half_mm * px_mm))))


def _beside(azimuth: np.ndarray, core_rad: tuple[float, float]) -> np.ndarray:
    """The wider part of the wall left or right of the short marks."""
    left = azimuth[azimuth < core_rad[0] - np.radians(1.5)]
    right = azimuth[azimuth > core_rad[1] + np.radians(1.5)]
    return left if len(left) > len(right) else right


def _broken_at(strips: _Strips) -> list[int]:
    """Columns in the middle of what may be the common break of the rings, the emptiest first."""
    from scipy.ndimage import uniform_filter1d

    seen = np.isfinite(strips.ink).any(axis=0)
    if not seen.any():
        return []
    usual = np.ones(len(seen))
    usual[seen] = np.nanmedian(np.clip(strips.ink[:, seen], -0.5, 1.5), axis=0)
    smooth = uniform_filter1d(usual, strips.columns(1.0), mode="nearest")
    low = np.flatnonzero(smooth < _BROKEN)
    runs = [run for run in np.split(low, np.flatnonzero(np.diff(low) > 1) + 1)
            if len(run) >= strips.columns(_LEAST_BREAK_MM)]
    runs.sort(key=lambda run: float((smooth[run] - _BROKEN).sum()))
    return [int(run[len(run) // 2]) for run in runs[:_MOST_PLACES]]


def _patch(strips: _Strips, k: int, middle: int) -> np.ndarray | None:
    """The number about a column of a strip, without the ring on either side of it."""
    reach = strips.columns(REACH_MM)
    first, last = max(middle - reach, 0), min(middle + reach + 1, len(strips.azimuth))
    grey = strips.grey[k][:, first:last]
    if not np.isfinite(grey).all() or not np.isfinite(strips.levels[k]):
        return None
    near = np.abs(strips.z)
    beside = (near > _BESIDE_MM[0]) & (near < _BESIDE_MM[1])
    ground = np.percentile(grey, 80, axis=0)
    ink = (ground - grey[beside].min(axis=0)) > _SOME_INK * max(strips.levels[k], _LEAST_LEVELS)
    left, right = number_columns(ink, middle - first, strips.columns(APART_MM))
    out = grey.astype(np.float32).copy()
    room = strips.columns(0.15)
    ring = np.ones(grey.shape[1], dtype=bool)
    ring[max(left - room, 0):right + room + 1] = False
    stroke = np.flatnonzero(near < _STROKE_MM)
    over, under = out[max(stroke[0] - 1, 0)], out[min(stroke[-1] + 1, len(out) - 1)]
    share = ((np.arange(len(stroke)) + 1) / (len(stroke) + 1))[:, None]
    filled = over * (1 - share) + under * share
    out[stroke] = np.where(ring, filled, out[stroke])
    margin = strips.columns(ROOM_MM)
    return out[:, max(left - margin, 0):right + margin + 1]


def number_columns(ink: np.ndarray, middle: int, apart: int) -> tuple[int, int]:
    """First and last column of the ink round ``middle``, up to gaps of ``apart`` columns."""
    where = np.flatnonzero(ink)
    if not len(where):
        return middle, middle
    groups = np.split(where, np.flatnonzero(np.diff(where) > apart) + 1)
    best = min(groups, key=lambda g: max(g[0] - middle, middle - g[-1], 0))
    return int(best[0]), int(best[-1])

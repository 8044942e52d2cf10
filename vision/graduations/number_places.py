"""Whether the printed numbers stand level with the marks that they are said to belong to.

What a number says is read alike from a mark beside its own, and where a mark at an end of the scale
is hidden, or an edge looks like one more, the count may be out by one.  A number is printed level
with its mark (common practice, no source), so that its place tells what its digits do not.
"""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.unrolled_samples import sample

#: How far up and down it is looked, at most and as a share of the distance between numbered marks,
#: and how wide, mm; less than the second width shows no number.
_MOST_MM, _SHARE, _WIDTH_MM, _LEAST_WIDTH_MM = 5.0, 0.5, 7.0, 1.5
#: Half the height of printed numbers, mm.
_HALF_HEIGHTS_MM = (0.9, 1.2, 1.6, 2.2)
#: So many numbers are needed; how much more has to change level with them than above and below, in
#: standard deviations; and how far the centre of all that changes may lie from theirs, in gaps.
_FEWEST, _CLEAR, _AGREE = 3, 1.5, 0.35
_STEP_MM = 0.1
#: Beyond this azimuth numbers are not read; so far they stand off their marks at the least, since
#: the samples of a mark lie 3 degrees apart, and so far the wall's outline is kept off.
_LIMIT_RAD, _OFF_MARK_RAD, _OFF_LIMB_RAD = np.radians(74.0), np.radians(1.5), 0.06


def numbers_from_rad(fit: GraduationFit, side: int) -> tuple[float, float]:
    """The azimuth from which numbers stand on that side of the marks, and the largest, without
    its sign, at which they are read."""
    start = fit.long_rad[0 if side < 0 else 1] + side * _OFF_MARK_RAD
    return float(start), float(min(_LIMIT_RAD, fit.pose.limb_azimuth_rad() - _OFF_LIMB_RAD))


def numbers_above_marks(fit: GraduationFit, side: int) -> float | None:
    """How far the numbers stand above their marks, in gaps between marks: the row in which most
    changes along the wall, in the median of all numbers.

    ``side`` is -1 or 1, where they are printed.  None where they do not stand out.
    """
    marks = [m.height_mm for m in fit.scale.marks if m.label]
    if side == 0 or len(marks) < _FEWEST:
        return None
    step = abs(fit.evidence.step_mm)
    half = min(_MOST_MM, _SHARE * float(np.abs(np.diff(marks)).min()))
    px_mm = float(np.clip(fit.pose.px_per_mm(float(np.median(marks))), 3.0, 9.0))
    z = np.linspace(half, -half, max(12, int(2 * half * px_mm)))
    profiles = [p for height in marks if (p := _change(fit, side, height + z, px_mm)) is not None]
    if len(profiles) < _FEWEST:
        return None
    profile = np.median(profiles, axis=0)
    at = _band(profile, z)
    above = np.maximum(profile - np.percentile(profile, 20), 0.0)
    above = np.maximum(above - 0.15 * float(above.max()), 0.0)
    centre = float(above @ z) / max(float(above.sum()), 1e-9)
    if at is None or abs(centre - at) > _AGREE * step:
        return None
    return at / step


def _change(fit: GraduationFit, side: int, z: np.ndarray, px_mm: float) -> np.ndarray | None:
    """(Z,) mean change along the wall beside the marks at each height, as a share of the
    patch's contrast; None where it is not all seen."""
    pose = fit.pose
    radius = float(pose.radius_at_mm(float(z.mean())))
    start, limit = numbers_from_rad(fit, side)
    end = float(np.clip(start + side * _WIDTH_MM / radius, -limit, limit))
    width = abs(end - start) * radius
    if side * (end - start) <= 0 or width < _LEAST_WIDTH_MM:
        return None
    low, high = sorted((start, end))
    azimuth = np.linspace(low, high, max(6, int(width * px_mm)))
    patch = sample(fit.grey, pose.project_wall(azimuth, z))
    if not np.isfinite(patch).all():
        return None
    return np.asarray(np.abs(np.diff(patch, axis=1)).mean(axis=1) / (float(patch.std()) + 3.0))


def _band(profile: np.ndarray, z: np.ndarray) -> float | None:
    """The middle of the band in which most changes, against as much above and below; None where
    it does not stand out."""
    best, at = _CLEAR * (float(profile.std()) + 1e-6), None
    for half in _HALF_HEIGHTS_MM:
        middle = np.arange(z[-1] + half, z[0] - half + 1e-6, _STEP_MM)
        off = np.abs(z - middle[:, None])
        inside, around = off <= half, (off > half) & (off <= 2 * half)
        within, beside = inside.sum(axis=1), around.sum(axis=1)
        told = (within >= 2) & (beside >= 2)
        if not told.any():
            continue
        stands_out = np.where(told, inside @ profile / np.maximum(within, 1)
                              - around @ profile / np.maximum(beside, 1), -np.inf)
        k = int(stands_out.argmax())
        if stands_out[k] > best:
            best, at = float(stands_out[k]), float(middle[k])
    return at

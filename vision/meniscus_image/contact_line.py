"""The front contact line, to a fraction of a pixel.

Round a place that is known to a millimetre, the straight line is sought along
which the picture changes most, over the whole width of the chamber, print left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.graduations.cylinder_pose import CylinderPose
from vision.meniscus_image.unroll import across_to_azimuth, unroll
from vision.robust import MEDIAN_TO_SD
from vision.scale_file.scale import Scale

_COLUMNS = 60
_CAP = 6.0
_SLOPES = np.linspace(-0.06, 0.06, 17)


@dataclass(frozen=True)
class ContactLine:
    """``height_mm`` on the outer wall straight in front, ``slope`` in mm per mm
    across, ``strength`` the mean change along the line in units of the grain
    (0 to 6), and ``contrast`` how far it stands above the lines around it."""

    height_mm: float
    slope: float
    strength: float
    contrast: float


def print_mask(scale: Scale, core_rad: tuple[float, float], long_rad: tuple[float, float],
               height_mm: np.ndarray, azimuth_rad: np.ndarray) -> np.ndarray:
    """(Z, U) True where a mark is printed."""
    out = np.zeros((len(height_mm), len(azimuth_rad)), dtype=bool)
    for m in scale.marks:
        near = np.abs(height_mm - m.height_mm) < 0.55
        if not near.any():
            continue
        lo, hi = long_rad if m.length == "long" else core_rad
        out |= near[:, None] & ((azimuth_rad > lo - 0.07) & (azimuth_rad < hi + 0.07))[None]
    return out


def find_contact_line(
    rgb: np.ndarray, pose: CylinderPose, scale: Scale, core_rad: tuple[float, float],
    long_rad: tuple[float, float], about_mm: float, reach_mm: float, px_per_mm: float,
) -> ContactLine | None:
    """The strongest straight line within ``reach_mm`` of a height; None if all is even."""
    step = min(0.5 / px_per_mm, 0.12)
    margin = reach_mm + 2.0
    z = np.arange(about_mm + margin, about_mm - margin, -step)
    across = np.linspace(-0.97, 0.97, _COLUMNS)
    strip = unroll(rgb, pose, z, across)
    if not np.isfinite(strip).mean() > 0.5:
        return None
    azimuth = across_to_azimuth(pose, across)
    k = max(2, round(0.9 / (step * px_per_mm)))
    smooth = cv2.GaussianBlur(strip, (3, 2 * k + 1), 0)
    change = np.full_like(smooth, np.nan)
    change[k:-k] = smooth[2 * k:] - smooth[:-2 * k]
    told = change[k:-k].reshape(-1, 3)
    told = told[~np.isnan(told).any(axis=1)]  # all colours end where the photo does
    grain = MEDIAN_TO_SD * np.median(np.abs(told - np.median(told, axis=0)), axis=0) + 0.8
    edge = np.sqrt(np.nansum((change / grain) ** 2, axis=2))
    edge = np.minimum(edge, _CAP)
    hidden = print_mask(scale, core_rad, long_rad, z, azimuth) | ~np.isfinite(strip[..., 0])
    score = _along_lines(edge, hidden, float(pose.radius_at_mm(about_mm)) * np.sin(azimuth), step)
    inside = np.abs(z - about_mm) <= reach_mm
    best = np.where(inside[None], score, -1.0)
    peak = float(best.max())
    if peak <= 0:
        return None
    # strong edges reach the cap at several slopes: the middle of that plateau counts
    level = np.flatnonzero(best.max(axis=1) > 0.985 * peak)
    i = int(level[len(level) // 2])
    top = np.flatnonzero(best[i] > 0.985 * float(best[i].max()))
    j = int(top[len(top) // 2])
    peak = float(score[i, j])
    around = score[i][np.abs(z - z[j]) > 0.8]
    usual = float(np.median(around[around > 0])) if (around > 0).any() else 0.0
    row = float(j)
    if 0 < j < len(z) - 1:
        a, b, c = score[i, j - 1], score[i, j], score[i, j + 1]
        bend = a - 2 * b + c
        row += float(np.clip(0.5 * (a - c) / bend, -1, 1)) if bend < 0 else 0.0
    return ContactLine(float(z[0] - row * step), float(_SLOPES[i]), peak, peak - usual)


def _along_lines(edge: np.ndarray, hidden: np.ndarray, x_mm: np.ndarray, step: float
                 ) -> np.ndarray:
    """(slopes, Z) mean of ``edge`` along lines z = z0 + slope * x."""
    rows, columns = edge.shape
    # how many rows each column is moved for a slope; room for that above and below, empty
    moved = np.round(_SLOPES[:, None] * x_mm / step).astype(int)
    room = int(np.abs(moved).max())
    value, there = np.zeros((2, rows + 2 * room, columns))
    value[room:room + rows] = np.where(hidden, 0.0, edge)
    there[room:room + rows] = ~hidden
    at = ((np.arange(rows)[:, None] + room - moved[:, None]) * columns + np.arange(columns))
    weight, total = there.take(at).sum(axis=2), value.take(at).sum(axis=2)
    return np.where(weight > 0.4 * columns, total / np.maximum(weight, 1), 0.0)

"""The chamber unrolled: rows of equal height, columns of equal place across.

In this picture the marks and the front contact line of the liquid are straight
and level, whatever the camera did; the far contact line, the rims of lid and
floor and everything in the room behind are not.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from vision.graduations.cylinder_pose import CylinderPose
from vision.graduations.unrolled_samples import sample
from vision.meniscus_image.views import Grid

#: A cell is looked at in so many places each way at most: more takes time and shows no more.
_MOST_SAMPLES = 3


def across_to_azimuth(pose: CylinderPose, across: np.ndarray) -> np.ndarray:
    """Azimuth on the wall (rad) of places across the chamber (-1 and 1: its outlines)."""
    return np.arcsin(np.clip(across * math.sin(pose.limb_azimuth_rad()), -1.0, 1.0))


def unroll(rgb: np.ndarray, pose: CylinderPose, height_mm: np.ndarray, across: np.ndarray,
           ) -> np.ndarray:
    """(Z, U, C) float32 grey levels at heights (Z,) and places across (U,).

    ``rgb`` is (H, W, C) of any number type.  NaN where the photo ends.
    """
    azimuth = across_to_azimuth(pose, across)
    # The map is smooth: project every few rows and draw straight lines between
    # (over 2 mm of height perspective bends by less than a hundredth of a pixel).
    step = abs(float(height_mm[1] - height_mm[0])) if len(height_mm) > 1 else 1.0
    every = max(1, int(2.0 / max(step, 1e-6)))
    knots = np.arange(0, len(height_mm) + every, every)
    z = height_mm[0] + (height_mm[1] - height_mm[0]) * knots if len(height_mm) > 1 else (
        height_mm[:1])
    net = pose.project_wall(azimuth, z)
    t = (np.arange(every, dtype=np.float32) / every)[None, :, None, None]
    points = (net[:-1, None] * (1 - t) + net[1:, None] * t).reshape(-1, len(across), 2)
    points = points[:len(height_mm)]
    h, w = rgb.shape[:2]
    x, y = points[..., 0], points[..., 1]  # each by itself: along pairs a least is slow to find
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        return np.full((len(height_mm), len(across), rgb.shape[2]), np.nan, np.float32)
    x0, y0 = (max(int(np.floor(v.min())) - 2, 0) for v in (x, y))
    x1, y1 = (int(np.ceil(v.max())) + 3 for v in (x, y))
    x1, y1 = min(x1, w), min(y1, h)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return np.full((len(height_mm), len(across), rgb.shape[2]), np.nan, np.float32)
    crop = rgb[y0:y1, x0:x1].astype(np.float32)
    return sample(crop, points - np.array([x0, y0], np.float32))


def view(rgb: np.ndarray, pose: CylinderPose, grid: Grid, px_per_mm: float) -> np.ndarray:
    """(rows, columns, 3) float32: the mean of the pixels that fall into each cell."""
    down = int(np.clip(round(grid.step_mm * px_per_mm), 1, _MOST_SAMPLES))
    radius = float(pose.radius_at_mm(grid.top_mm - 0.5 * grid.step_mm * grid.rows))
    cell_px = (grid.across[1] - grid.across[0]) * radius * px_per_mm
    side = int(np.clip(round(cell_px / 3.0), 1, _MOST_SAMPLES))
    z = grid.top_mm - grid.step_mm * (np.arange(grid.rows * down) + 0.5) / down
    d = grid.across[1] - grid.across[0]
    u = grid.across[0] - d / 2 + d * (np.arange(grid.columns * side) + 0.5) / side
    fine = unroll(rgb, pose, z, u)
    # whole cells: area resampling is the plain mean, NaN included
    return np.asarray(cv2.resize(fine, (grid.columns, grid.rows), interpolation=cv2.INTER_AREA))

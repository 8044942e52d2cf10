"""Where the camera of a traced picture stands and what it projects: numpy only.

Pixels count from the centre of the top-left pixel, (x, y) order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

#: Diagonal of the 36 mm x 24 mm frame to which a 35 mm-equivalent focal length refers.
_FRAME_MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True)
class Pose:
    """A pinhole camera: ``centre`` (3,), rows of ``axes`` right, down, forward, in the chamber's
    frame; ``focal_px``; ``k1`` of the lens, by which a point at radius r (in focal lengths) is
    seen at r (1 + k1 r^2)."""

    centre: np.ndarray
    axes: np.ndarray
    focal_px: float
    size: tuple[int, int]
    k1: float = 0.0

    def project(self, points: np.ndarray) -> np.ndarray:
        """(N, 3) points to (N, 2) pixels, refraction ignored."""
        c = (np.atleast_2d(points) - self.centre) @ self.axes.T
        q = c[:, :2] / c[:, 2:]
        q = q * (1 + self.k1 * (q**2).sum(1, keepdims=True))
        return np.asarray(self.focal_px * q + (np.array(self.size) - 1) / 2)


def look(level_mm: float, middle_mm: float, up: np.ndarray, distance_mm: float,
         elevation_deg: float, azimuth_deg: float, roll_deg: float, f35: float,
         size: tuple[int, int], aside: tuple[float, float] = (0.0, 0.0), k1: float = 0.0) -> Pose:
    """A camera ``distance_mm`` from the axis at the level, seen from ``elevation_deg`` above.

    It looks at the middle of the tube, ``aside`` (shares of the picture) beside the centre.
    """
    e, a = math.radians(elevation_deg), math.radians(azimuth_deg)
    centre = np.array([0, 0, level_mm]) + distance_mm * np.array(
        [-math.cos(e) * math.sin(a), -math.cos(e) * math.cos(a), math.sin(e)])
    focal = f35 * math.hypot(*size) / _FRAME_MM
    target = np.array([0.0, 0.0, middle_mm])
    ahead = target - centre
    far = np.linalg.norm(ahead)
    right = np.cross(ahead / far, up)
    right /= np.linalg.norm(right)
    target = target - right * aside[0] * size[0] * far / focal - up * aside[1] * size[1] * (
        far / focal)
    forward = target - centre
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    axes = np.stack([c * right + s * down, -s * right + c * down, forward])
    return Pose(centre, axes, focal, size, k1)

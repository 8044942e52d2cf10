"""The camera: where it stands, which way it looks, and where a point appears."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

#: Diagonal of a 36 x 24 mm frame: what 35 mm-equivalent focal lengths refer to.
_DIAGONAL_35_MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True)
class Camera:
    """``place`` (3,) in mm; ``right``, ``up``, ``ahead`` are unit vectors (3,) of the chamber's
    frame: x right and y away as seen from before the chamber, z along its axis."""

    place: np.ndarray
    right: np.ndarray
    up: np.ndarray
    ahead: np.ndarray
    focal_px: float
    size: tuple[int, int]

    def project(self, points: np.ndarray) -> np.ndarray:
        """(N, 2) pixels, counted from the centre of the top-left one, of (N, 3) points in mm."""
        seen = np.atleast_2d(points) - self.place
        far = seen @ self.ahead
        w, h = self.size
        return np.stack([(w - 1) / 2 + self.focal_px * (seen @ self.right) / far,
                         (h - 1) / 2 - self.focal_px * (seen @ self.up) / far], axis=1)


def focal_px(f35_mm: float, size: tuple[int, int]) -> float:
    """Focal length in pixels: the picture's diagonal stands for that of the 35 mm frame."""
    return f35_mm / _DIAGONAL_35_MM * math.hypot(*size)


def camera_at(seen_mm: np.ndarray, distance_mm: float, elevation_deg: float, aim_mm: np.ndarray,
              roll_deg: float, f35_mm: float, size: tuple[int, int]) -> Camera:
    """A camera that sees ``seen_mm`` from ``distance_mm`` under ``elevation_deg`` (positive from
    above), with ``aim_mm`` in the middle of the picture and the picture's content turned against
    the clock by ``roll_deg``."""
    e = math.radians(elevation_deg)
    place = np.asarray(seen_mm) + distance_mm * np.array([0.0, -math.cos(e), math.sin(e)])
    ahead = np.asarray(aim_mm) - place
    ahead = ahead / np.linalg.norm(ahead)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right = right / np.linalg.norm(right)
    up = np.cross(right, ahead)
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    return Camera(place, c * right - s * up, s * right + c * up, ahead,
                  focal_px(f35_mm, size), size)

"""The camera of this set: where it stands, where a point appears, how its lens bends lines.

Frame of the chamber, in millimetres: x to the right, y up along the axis, z towards the viewer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

#: Pixels rendered beyond each edge, so that the lens's bending finds light there.
PAD_PX = 24


@dataclass(frozen=True)
class Lens:
    """``eye`` and ``target`` in mm, ``top`` the unit vector (3,) that the picture shows upward;
    ``bend`` is the share by which a point in the corner lies farther out than without bending."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]
    top: tuple[float, float, float]
    focal_px: float
    bend: float
    size: tuple[int, int]

    @property
    def axes(self) -> np.ndarray:
        """(3, 3): rows right, down, ahead, as unit vectors."""
        ahead = np.subtract(self.target, self.eye)
        ahead = ahead / np.linalg.norm(ahead)
        right = np.cross(ahead, self.top)
        right = right / np.linalg.norm(right)
        return np.stack([right, np.cross(ahead, right), ahead])

    @property
    def centre(self) -> np.ndarray:
        """Principal point, counted from the centre of the top-left pixel."""
        return (np.array(self.size, float) - 1) / 2

    def straight(self, points: np.ndarray) -> np.ndarray:
        """(N, 2) pixels of (N, 3) points, without the lens's bending."""
        seen = (np.atleast_2d(points) - np.array(self.eye)) @ self.axes.T
        return np.asarray(self.centre + self.focal_px * seen[:, :2] / seen[:, 2:])

    def appears(self, points: np.ndarray) -> np.ndarray:
        """(N, 2) pixels of (N, 3) points in the finished picture."""
        off = self.straight(points) - self.centre
        grown = 1 + self.bend * (off**2).sum(1, keepdims=True) / (self.centre**2).sum()
        return np.asarray(self.centre + off * grown)

    def sources(self) -> tuple[np.ndarray, np.ndarray]:
        """For each pixel of the finished picture where its light lies in the padded straight
        one: (H, W) columns and rows, float32."""
        w, h = self.size
        off = np.stack(np.meshgrid(np.arange(w), np.arange(h)), -1) - self.centre
        straight = off.copy()
        for _ in range(8):
            square = (straight**2).sum(-1, keepdims=True) / (self.centre**2).sum()
            straight = off / (1 + self.bend * square)
        there = (straight + self.centre + PAD_PX).astype(np.float32)
        return there[..., 0], there[..., 1]


def focal_in_px(f35_mm: float, size: tuple[int, int]) -> float:
    """The 35 mm-equivalent focal length goes by the diagonals (CIPA DCG-001-2018)."""
    return f35_mm * math.hypot(*size) / math.hypot(24.0, 36.0)


def lens_before(height_mm: float, distance_mm: float, elevation_deg: float,
                target: tuple[float, float, float], roll_deg: float, f35_mm: float, bend: float,
                size: tuple[int, int]) -> Lens:
    """A camera ``distance_mm`` from the axis point at ``height_mm``, ``elevation_deg`` above the
    plane through it square to the axis, its picture's content turned against the clock."""
    e, r = math.radians(elevation_deg), math.radians(roll_deg)
    eye = np.array([0.0, height_mm + distance_mm * math.sin(e), distance_mm * math.cos(e)])
    ahead = np.array(target) - eye
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    top = math.cos(r) * np.cross(right, ahead) + math.sin(r) * right
    return Lens(tuple(eye), target, tuple(top), focal_in_px(f35_mm, size), bend, size)

"""The world frame of drawn rooms: rotations, the camera and flat boards, in millimetres.

x along the wall to the right, y up, z out of the wall into the room; gravity is -y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


def turn_x(deg: float) -> np.ndarray:
    """Rotation about x."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def turn_y(deg: float) -> np.ndarray:
    """Rotation about y."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def turn_z(deg: float) -> np.ndarray:
    """Rotation about z."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


@dataclass(frozen=True)
class View:
    """Camera: position, rotation whose rows are its x, y (down), z axes, focal length in pixels."""

    position: np.ndarray
    axes: np.ndarray
    focal_px: float
    width: int
    height: int

    def to_camera(self, points: np.ndarray) -> np.ndarray:
        """(N, 3) camera coordinates of (N, 3) world points."""
        return np.asarray((np.atleast_2d(points) - self.position) @ self.axes.T)

    def project(self, points: np.ndarray) -> np.ndarray:
        """(N, 2) pixels (centre of the top-left pixel is 0, 0) of (N, 3) world points."""
        p = self.to_camera(points)
        return np.column_stack([self.focal_px * p[:, 0] / p[:, 2] + (self.width - 1) / 2,
                                self.focal_px * p[:, 1] / p[:, 2] + (self.height - 1) / 2])


@dataclass(frozen=True)
class Board:
    """A flat rectangle: centre, rotation (columns x, y, z), width and height in mm, colour."""

    centre: np.ndarray
    rotation: np.ndarray
    size: tuple[float, float]
    colour: np.ndarray

    def at(self, x: float, y: float, lift: float = 0.0) -> np.ndarray:
        """World point of board coordinates, ``lift`` in front of it."""
        return np.asarray(self.centre + self.rotation @ np.array([x, y, lift]))

    def corners(self) -> np.ndarray:
        """(4, 3) corners from top left clockwise."""
        w, h = self.size[0] / 2, self.size[1] / 2
        return np.array([self.at(-w, h), self.at(w, h), self.at(w, -h), self.at(-w, -h)])

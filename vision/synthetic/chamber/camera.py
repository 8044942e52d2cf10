"""The pinhole camera of a scene: where it stands, what it projects, the rays it casts.

Pixels count from the centre of the top-left pixel; (x, y) order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.synthetic.chamber.model import ChamberScene

#: Diagonal of the 36 mm by 24 mm frame to which "35 mm-equivalent" refers.
FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)


def room_axes(scene: ChamberScene) -> np.ndarray:
    """Rows: the room's x, y, z axes in the chamber's frame, a (3, 3) rotation."""
    right, away = (math.sin(math.radians(a)) for a in scene.lean_deg)
    up = np.array([-right, -away, math.sqrt(max(1 - right * right - away * away, 0.0))])
    turn = math.radians(scene.room_turn_deg)
    y = np.array([math.sin(turn), math.cos(turn), 0.0])
    y -= up * (y @ up)
    y /= np.linalg.norm(y)
    return np.stack([np.cross(y, up), y, up])


@dataclass(frozen=True)
class View:
    """A camera in the chamber's frame: ``centre`` (3,) and ``axes`` (3, 3), rows right,
    down, forward; ``focal_px`` and the principal point in pixels."""

    centre: np.ndarray
    axes: np.ndarray
    focal_px: float
    cx: float
    cy: float

    def project(self, points: np.ndarray) -> np.ndarray:
        """(N, 3) points in the chamber's frame to (N, 2) pixels."""
        c = (np.atleast_2d(points) - self.centre) @ self.axes.T
        return np.stack(
            [self.cx + self.focal_px * c[:, 0] / c[:, 2],
             self.cy + self.focal_px * c[:, 1] / c[:, 2]], 1)


def view_of(scene: ChamberScene, size: tuple[int, int] | None = None) -> View:
    """The camera of a scene, for a picture of ``size`` (width, height) or the scene's own."""
    cam = scene.camera
    width, height = size or (cam.width, cam.height)
    focal = cam.f35 * math.hypot(width, height) / FULL_FRAME_DIAGONAL_MM
    el, az = math.radians(cam.elevation_deg), math.radians(cam.azimuth_deg)
    level = np.array([0.0, 0.0, scene.level_mm])
    centre = level + cam.distance_mm * np.array(
        [-math.cos(el) * math.sin(az), -math.cos(el) * math.cos(az), math.sin(el)])
    up = room_axes(scene)[2]
    forward = np.array([0.0, 0.0, scene.middle_mm]) - centre
    forward /= np.linalg.norm(forward)
    axes = _axes(forward, up, cam.roll_deg)
    # Turn the camera so that the middle of the tube lands where it is wanted.
    wanted = np.array([(cam.aim_x - 0.5) * width, (cam.aim_y - 0.5) * height, focal])
    for _ in range(4):
        ray = wanted / np.linalg.norm(wanted)
        target = np.array([0.0, 0.0, scene.middle_mm]) - centre
        target /= np.linalg.norm(target)
        forward = forward + (target - axes.T @ ray)
        forward /= np.linalg.norm(forward)
        axes = _axes(forward, up, cam.roll_deg)
    return View(centre, axes, focal, (width - 1) / 2, (height - 1) / 2)


def _axes(forward: np.ndarray, up: np.ndarray, roll_deg: float) -> np.ndarray:
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    return np.stack([c * right + s * down, -s * right + c * down, forward])

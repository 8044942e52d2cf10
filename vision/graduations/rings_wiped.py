"""A picture without the rings that are printed across its numbers, or without any.

Marks that run right round a tube leave out the number that stands in them, not those above and
below it; and their backs show through everything.  Where they run is known from the pose: there
the picture is filled in from what is beside (A. Telea, *An Image Inpainting Technique Based on the
Fast Marching Method*, J. Graphics Tools 9 (2004) 23).
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.graduations.backs_of_marks import INDICES, seen_behind_mm
from vision.graduations.cylinder_pose import CylinderPose
from vision.graduations.fit import GraduationFit
from vision.graduations.ridges import ridge_response
from vision.graduations.unrolled_samples import sample

_AZIMUTH = np.radians(np.arange(-72.0, 72.1, 3.0))
#: The whole wall that faces the camera, but for this much at its outlines.
_ACROSS = np.radians(np.arange(-84.0, 84.1, 3.0))
_OFF_LIMB_RAD = 0.02
#: Azimuths at which it is looked for the backs.
_FACING = np.abs(_AZIMUTH) < np.radians(50.0)
#: A line's half width, mm, with its soft edges; and at least so many pixels.
_HALF_MM, _LEAST_PX = 0.16, 1.0
#: A back is there where it responds by this share of the usual front.
_AS_CLEAR = 0.25
_TURNS = 4
_REACH_PX = 3


def wiped(fit: GraduationFit) -> np.ndarray:
    """(H, W) float32, ``fit.grey`` without the fronts of marks that have no number and the backs of
    all."""
    numbered = np.array([bool(mark.label) for mark in fit.scale.marks])
    mask = _rings(fit, _AZIMUTH, fronts=~numbered, backs=np.ones_like(numbered))
    grey = np.clip(fit.grey, 0, 255).astype(np.uint8)
    return np.asarray(cv2.inpaint(grey, mask, _REACH_PX, cv2.INPAINT_TELEA), np.float32)


def without_rings(rgb: np.ndarray, fit: GraduationFit) -> np.ndarray | None:
    """(H, W, 3) uint8, the picture ``rgb`` of the row without the fronts and backs of the marks
    that run right round the tube; None where none do.

    A surface is sought where few level lines run: what is left is as a chamber with plain
    walls shows it.
    """
    if not fit.runs_round("long"):
        return None
    long = np.array([mark.length == "long" for mark in fit.scale.marks])
    round_ = np.ones_like(long) if fit.runs_round("short") else long
    edge = float(fit.pose.limb_azimuth_rad()) - _OFF_LIMB_RAD
    mask = _rings(fit, _ACROSS[np.abs(_ACROSS) < edge], fronts=round_, backs=round_)
    return np.asarray(cv2.inpaint(np.ascontiguousarray(rgb), mask, _REACH_PX, cv2.INPAINT_TELEA))


def _rings(fit: GraduationFit, azimuth_rad: np.ndarray, *, fronts: np.ndarray, backs: np.ndarray
           ) -> np.ndarray:
    """(H, W) uint8, 1 where the fronts (M,) and the backs (M,) of those marks run; of the backs
    those that show."""
    pose, px_mm = fit.pose, fit.pose.px_per_mm(float(np.median(fit.height_mm)))
    response = ridge_response(fit.grey, max(_HALF_MM * px_mm / 2, 0.7))
    thick = 2 * max(_LEAST_PX, _HALF_MM * px_mm) + 1
    mask = np.zeros(fit.grey.shape, np.uint8)
    clear = float(np.median(_along(response, pose.project_wall(_AZIMUTH, fit.height_mm))))
    for points in pose.project_wall(azimuth_rad, fit.height_mm[fronts]):
        _draw(mask, points, thick)
    behind = [_backs(pose, fit.height_mm[backs], index) for index in INDICES]
    shown = np.array([_along(response, points) for points in behind])
    for k in range(int(np.count_nonzero(backs))):
        best = int(np.argmax(shown[:, k]))
        if shown[best, k] > _AS_CLEAR * clear:
            _draw(mask, behind[best][k], thick)
    return mask


def _backs(pose: CylinderPose, marks_mm: np.ndarray, index: float) -> np.ndarray:
    """(M, A, 2) pixels at which the backs of marks are seen through what fills the tube."""
    z = marks_mm[:, None]
    at = np.repeat(z, len(_AZIMUTH), axis=1)
    for _ in range(_TURNS):
        at = at + z - seen_behind_mm(pose, _AZIMUTH, at, index)
    return pose.project(pose.on_wall(_AZIMUTH, at)).reshape(*at.shape, 2).astype(np.float32)


def _along(response: np.ndarray, lines: np.ndarray) -> np.ndarray:
    """(M,) the usual response along lines (M, A, 2) where they face the camera."""
    return np.median(np.nan_to_num(sample(response, lines[:, _FACING])), axis=1)


def _draw(mask: np.ndarray, points_px: np.ndarray, thick_px: float) -> None:
    if np.isfinite(points_px).all() and np.abs(points_px).max() < 1e5:
        cv2.polylines(mask, [np.round(points_px * 8).astype(np.int32).reshape(-1, 1, 2)], False,
                      1, max(1, round(thick_px)), cv2.LINE_8, 3)

"""Marks that run right round a clear tube show twice: in front, and through it on its back wall.

Seen level the two fall together; from above or below the backs lie between the fronts, cross them,
and stand beyond the ends of the scale where there is no mark.  Where a back shows is known from
the pose: there nothing is told about the front.
"""

from __future__ import annotations

import numpy as np

from vision.constants import WATER_REFRACTIVE_INDEX
from vision.graduations.cylinder_pose import CylinderPose

#: What the tube may be filled with, where it is not known how far the liquid reaches.
INDICES = (1.0, WATER_REFRACTIVE_INDEX.value)

#: Shares of the gap between marks: nearer than the first a back is taken for a mark; nearer than
#: the second it falls together with its own front; nearer than the third a place is a mark's own.
_BESIDE, _TOGETHER, _OWN = 0.3, 0.12, 0.01


def seen_behind_mm(pose: CylinderPose, azimuth_rad: np.ndarray, height_mm: np.ndarray,
                   refractive_index: float) -> np.ndarray:
    """Heights at which the sight lines through places of the front wall reach the back wall.

    ``azimuth_rad`` and ``height_mm`` are those of the places, of any shapes that go together, (A,)
    and (Z, 1) for a net; what fills the tube bends the
    line where it enters (Snell's law in three dimensions: what lies along the wall is kept), the
    wall itself, which is thin, hardly shifts it.
    """
    d, camera = float(pose.params[0]), float(pose.params[1])
    h = np.asarray(height_mm, float)
    r = pose.radius_at_mm(h)
    across, towards = r * np.sin(azimuth_rad), d - r * np.cos(azimuth_rad)
    level = np.hypot(across, towards)
    falls = (camera - h) / level
    length = np.hypot(1.0, falls)
    along_wall, down = d * np.sin(azimuth_rad) / level / length, falls / length
    inward = np.sqrt(np.maximum(refractive_index**2 - along_wall**2 - down**2, 1e-6))
    level_inside = np.hypot(inward, along_wall)
    chord = 2.0 * r * inward / level_inside
    return np.asarray(h - chord * down / level_inside)


def backs_show(pose: CylinderPose, azimuth_rad: np.ndarray, height_mm: np.ndarray,
               gap_mm: np.ndarray, marks_mm: np.ndarray) -> np.ndarray:
    """(Z, A) whether the back of a mark may show at places of the front wall, so near that it could
    be taken for a mark there.

    ``height_mm`` and ``gap_mm`` (Z,) are those of the places, ``marks_mm`` (M,) the heights of all
    marks.  A back that falls together with the front of the same mark is none of those.
    """
    marks = np.sort(marks_mm)
    shows = np.zeros((len(height_mm), len(azimuth_rad)), dtype=bool)
    gap = gap_mm[:, None]
    own = np.abs(height_mm[:, None] - marks[None]).min(axis=1) < _OWN * gap_mm
    for index in INDICES:
        behind = seen_behind_mm(pose, azimuth_rad, height_mm[:, None], index)
        after = np.clip(np.searchsorted(marks, behind), 1, len(marks) - 1)
        off = np.minimum(np.abs(behind - marks[after - 1]), np.abs(behind - marks[after]))
        together = own[:, None] & (np.abs(behind - height_mm[:, None]) < _TOGETHER * gap)
        shows |= (off < _BESIDE * gap) & ~together
    return shows

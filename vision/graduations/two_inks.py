"""Marks that are dark above the liquid and lighter than it below, or the other way round.

Print before a dark liquid is lit from the front and brighter than what is behind it.  A
look for dark lines then finds the gaps between the marks there, half a gap out of place, and
the pose that follows is tilted by degrees.  Where the marks lie badly, the part on
one side of a height is therefore trusted alone and the rest looked at in the negative.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np

from vision.graduations.cylinder_pose import CylinderPose, MarkPoints, fit_pose
from vision.graduations.fit import GraduationFit, measured_from
from vision.graduations.unrolled_samples import sample_marks
from vision.graduations.wall import points_seen
from vision.parameters import CLEAR_RESIDUAL

#: Marks that a part needs to carry a pose, and heights tried between two parts.
_LEAST_MARKS, _BREAKS = 6, 17
#: So many of the likeliest splits are measured anew.
_TRIES = 3
#: What is local, in gaps between marks: the negative is taken about its mean.
_LOCAL_GAPS = 3.0
#: To what share the misfit has to fall in the part that is trusted, and of all marks
#: then; and what share of the marks that were seen has to be seen still.
_ALONE, _TOGETHER, _STILL_SEEN = 0.6, 0.6, 0.85
#: A mark lies in place where it is off by less than this share of the gap.
_IN_PLACE = 0.12


def in_two_inks(fit: GraduationFit) -> GraduationFit:
    """The fit with a part of the marks seen in the negative, where they then lie in place by far
    better; else the fit as it is."""
    if fit.relative_residual < CLEAR_RESIDUAL or fit.cut:
        return fit
    best = fit
    parts = sorted(_parts(fit), key=lambda part: part[0].residual_px)[:_TRIES]
    for pose, height_mm, upper in parts:
        if pose.residual_px > _ALONE * fit.pose.residual_px:
            break
        again = _split(fit, pose, height_mm, upper)
        again = None if again is None else _split(
            fit, again.pose, _break_mm(fit, again.pose, upper), upper)
        if again is not None and again.shown.sum() > _STILL_SEEN * fit.shown.sum() and (
                again.pose.residual_px < min(_TOGETHER * fit.pose.residual_px,
                                             best.pose.residual_px)):
            best = again
    return best if best is fit else replace(
        best, strategy=f"{fit.strategy}, print light and dark".removeprefix(", "))


def _parts(fit: GraduationFit) -> Iterator[tuple[CylinderPose, float, bool]]:
    """Poses from the marks above (True) or below a height alone, and that height."""
    z = fit.height_mm
    marks = points_seen(fit.pose, fit.samples, fit.used, z)
    focal, focal_sd = fit.focal
    for height in np.quantile(z, np.linspace(0.1, 0.9, _BREAKS)):
        for upper in (True, False):
            kept = marks.height_mm > height if upper else marks.height_mm < height
            if len(np.unique(marks.height_mm[kept])) < _LEAST_MARKS:
                continue
            part = MarkPoints(marks.points_px[kept], marks.height_mm[kept], marks.ends_px,
                              marks.end_kind, marks.end_height_mm)
            yield fit_pose(part, fit.pose.radius_mm, fit.pose.centre_px, focal, focal_sd,
                           point_sd_px=0.3, start=fit.pose.params,
                           outline=fit.pose.outline), float(height), upper


def _split(fit: GraduationFit, pose: CylinderPose, height_mm: float, upper: bool
           ) -> GraduationFit | None:
    """The marks measured from a pose, in the negative on the side of a height that is not
    trusted."""
    ends = pose.on_wall(np.radians([-60.0, 60.0]), np.full(2, height_mm))
    (x0, y0), (x1, y1) = pose.project(ends)
    box = _round_the_tube(fit, pose)
    if box is None or not np.isfinite([x0, y0, x1, y1]).all():
        return None
    y, x = np.mgrid[box].astype(np.float32)
    below = y - y0 > (y1 - y0) / (x1 - x0 or 1e-6) * (x - x0)
    grey = _negative(fit, box, below if upper else ~below)
    return measured_from(replace(fit, grey=grey), pose)


def _round_the_tube(fit: GraduationFit, pose: CylinderPose) -> tuple[slice, slice] | None:
    """Rows and columns of the picture in which the tube is, with room for local means; None where
    it is not in the picture."""
    z = fit.height_mm
    side = np.array([-np.pi / 2, -np.pi / 4, 0.0, np.pi / 4, np.pi / 2])
    p = pose.project(pose.on_wall(np.tile(side, 2), np.repeat([z.min(), z.max()], len(side))))
    if not np.isfinite(p).all():
        return None
    room = 2.0 * _LOCAL_GAPS * fit.pitch_px
    size = np.array(fit.grey.shape[::-1])
    first, end = (np.clip(v, 0, size).astype(int).tolist()
                  for v in (p.min(axis=0) - room, p.max(axis=0) + room + 1))
    box = slice(first[1], end[1]), slice(first[0], end[0])
    return box if all(one.stop - one.start > 1 for one in box) else None


def _negative(fit: GraduationFit, box: tuple[slice, slice], where: np.ndarray) -> np.ndarray:
    """(H, W) float32: the picture, its tones turned round about their local mean in a part of the
    box."""
    side = 2 * int(_LOCAL_GAPS * fit.pitch_px / 2) + 1
    grey, inside = fit.grey[box], where.astype(np.float32)
    total = cv2.blur(grey * inside, (side, side))
    mean = total / np.maximum(cv2.blur(inside, (side, side)), 1e-6)
    out = fit.grey.copy()
    out[box] = np.where(where, 2.0 * mean - grey, grey)
    return out


def _break_mm(fit: GraduationFit, pose: CylinderPose, upper: bool) -> float:
    """Between which marks the print changes: most of them are then in place on both sides."""
    z, columns = fit.height_mm, fit.used.any(axis=0)
    order = np.argsort(z)

    def in_place(grey: np.ndarray) -> np.ndarray:
        s = sample_marks(grey, pose, z, fit.samples.gap_mm, fit.samples.azimuth_rad[columns])
        near = np.abs(s.offset_mm) < _IN_PLACE * s.gap_mm[:, None]
        noise = s.noise[np.isfinite(s.noise)]  # none where no mark lies in the picture
        quiet = float(np.median(noise)) if noise.size else np.inf
        return np.asarray((near & (s.depth > quiet)).mean(axis=1)[order])

    plain = in_place(fit.grey)
    box = _round_the_tube(fit, pose)
    whole = (slice(None), slice(None)) if box is None else box
    negative = in_place(_negative(fit, whole, np.ones(fit.grey[whole].shape, bool)))
    low, high = (negative, plain) if upper else (plain, negative)
    gained = np.concatenate([[0.0], np.cumsum(low - high)])
    k = int(np.argmax(gained))
    ends = np.concatenate([[z.min() - 1.0], z[order], [z.max() + 1.0]])
    return float(0.5 * (ends[k] + ends[k + 1]))

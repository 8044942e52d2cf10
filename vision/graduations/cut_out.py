"""The row of a part of a photo: where the lens looked along is not known there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.graduations.cylinder_pose import CylinderPose, fit_pose
from vision.graduations.fit import GraduationFit
from vision.graduations.wall import POINT_SD_PX, UNKNOWN_FOCAL_SD, points_seen

#: Elevation doubt that stays where the point that the lens looked along had to be found,
#: and where it could not be.
_FOUND_DOUBT_DEG, _CUT_DOUBT_DEG = 1.5, 4.0
#: Share to which the misfit then has to fall, and by how much the view may turn and come
#: nearer (log of the distances).
_CUT_SHARE, _TURNED_DEG, _NEARER = 0.5, 15.0, 0.5


def recentred(fit: GraduationFit) -> GraduationFit:
    """The ladder of a part of a photo: the lens looked along any line through it.

    The point that it looked along is put where the marks, which are arcs in perspective,
    fit best.  A wrong one tilts the view by degrees, so some doubt stays.
    """
    if not fit.cut:
        return fit
    from scipy.optimize import minimize

    pose, z = fit.pose, fit.height_mm
    marks = points_seen(pose, fit.samples, fit.used, z)
    size = float(np.hypot(*fit.grey.shape))

    def looked_from(aside: np.ndarray) -> CylinderPose:
        middle = (pose.centre_px[0] + size * aside[0], pose.centre_px[1] + size * aside[1])
        return fit_pose(marks, pose.radius_mm, middle, pose.focal_px, UNKNOWN_FOCAL_SD,
                        point_sd_px=POINT_SD_PX, start=pose.params, outline=pose.outline)

    def misfit(aside: np.ndarray) -> float:
        # nothing is cut out from farther aside than a photo is large
        return looked_from(aside).residual_px + 0.05 * float(np.sum((aside / 0.5) ** 2))

    best = minimize(misfit, np.zeros(2), method="Nelder-Mead", options={
        "initial_simplex": [[0.0, 0.0], [0.15, 0.0], [0.0, 0.15]], "maxfev": 50,
        "xatol": 0.01, "fatol": 0.002}).x
    found = looked_from(best)
    middle_mm = float(np.median(z))
    turned_deg = abs(np.degrees(float(found.elevation_rad(middle_mm) - pose.elevation_rad(
        middle_mm))))
    nearer = abs(np.log(found.params[0] / pose.params[0]))
    # marks measured badly fit better from somewhere far off as well
    better = found.residual_px < _CUT_SHARE * pose.residual_px and (
        turned_deg < _TURNED_DEG and nearer < _NEARER)
    pose = replace(found, doubt_deg=_FOUND_DOUBT_DEG) if better else replace(
        pose, doubt_deg=_CUT_DOUBT_DEG)
    return replace(fit, pose=pose)

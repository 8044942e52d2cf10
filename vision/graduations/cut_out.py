"""The row of a part of a photo: where the lens looked along is not known there.

Of a whole photo the lens looked along its middle, and its focal length is what the photo states.
A part that was cut out later, as people do who send a picture on, has neither: its middle may be
degrees off, and it was seen with a longer lens than it states.  The marks are arcs in perspective
and tell both, the better the more of them are seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.graduations.cylinder_pose import (
    INDEPENDENT_POINTS,
    CylinderPose,
    Residuals,
    as_view,
    from_view,
)
from vision.graduations.fit import GraduationFit
from vision.graduations.wall import POINT_SD_PX, points_seen
from vision.robust import spread

#: Before the marks are looked at, either is as likely (our choice): people cut out the part that
#: matters before they send a photo on, and a part taken for a whole misreads, while a whole taken
#: for a part is only less sure.
_PART = 0.5
#: By how much longer the lens of the photo was than the part states (logarithm; middle and
#: standard deviation): a third to nine tenths of the width are left.  Our choice.
_LONGER, _LONGER_SD = 0.35, 0.35
#: Where the lens looked along, from the middle of the part, in widths and heights of it (standard
#: deviation).  It is no farther off than the part can lie in a photo that is larger by as much as
#: its lens is longer, but for doubts about the lens, give or take the second figure.
_ASIDE_SD, _ASIDE_BEYOND_SD = 0.25, 0.03
#: Beyond so many standard deviations a mark pulls no harder (Huber).
_FAR = 2.0
_MOST_ROUNDS = 60
#: Of the differences that stand for slopes.
_STEP = 1e-6
#: No lens is longer than stated by so much (logarithm): keeps a wild step finite.
_LONGEST = 50.0


@dataclass(frozen=True)
class _View:
    """A way to see the marks, and the logarithm of how well it explains them."""

    pose: CylinderPose
    log_evidence: float


def recentred(fit: GraduationFit) -> GraduationFit:
    """The ladder with the doubt whether this is a whole photo or a part of one.

    Both are fitted to the marks and weighed by how well they explain them (the evidence in
    Laplace's approximation: D. J. C. MacKay, Information Theory, Inference, and Learning
    Algorithms, 2003, chapter 27).  The likelier one is taken; the other one leaves a doubt in the
    elevation, of its probability and of how far off it is.
    """
    from scipy.special import expit, logit

    pose, z = fit.pose, fit.height_mm
    part = _seen_as(fit, part=True)
    whole = None if fit.cut else _seen_as(fit, part=False)
    if part is None or (whole is None and not fit.cut):
        return fit
    share = 1.0
    if whole is not None:
        share = float(expit(logit(_PART) + part.log_evidence - whole.log_evidence))
    middle_mm = float(np.median(z))
    apart_deg = math.degrees(float(part.pose.elevation_rad(middle_mm)
                                   - pose.elevation_rad(middle_mm)))
    if share > 0.5:
        doubt = math.sqrt(1 - share) * abs(apart_deg)
        return replace(fit, pose=replace(part.pose, doubt_deg=doubt), cut=True,
                       focal_known=False)
    return replace(fit, pose=replace(pose, doubt_deg=math.sqrt(share) * abs(apart_deg)))


def _seen_as(fit: GraduationFit, part: bool) -> _View | None:
    """The pose of the same marks as a part of a photo, or as a whole one."""
    from scipy.optimize import least_squares

    pose, middle_mm = fit.pose, float(np.median(fit.height_mm))
    marks = points_seen(pose, fit.samples, fit.used, fit.height_mm)
    clumping = max(1.0, len(marks.height_mm) / INDEPENDENT_POINTS)
    sd_px = POINT_SD_PX * math.sqrt(clumping)
    focal_px, focal_sd = fit.focal
    longer_sd = math.hypot(_LONGER_SD, focal_sd)
    height, width = fit.grey.shape
    radius = pose.radius_at_mm(marks.height_mm)
    at = Residuals(marks, (radius, pose.radius_at_mm(marks.end_height_mm)), pose.centre_px)

    def seen(y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Parameters of the pose (..., 6), and where the lens looked along, from the picture's
        middle (..., 2)."""
        if not part:
            return from_view(y, middle_mm), np.zeros(2)
        aside = y[..., 6:] * [width, height]
        view = y[..., :6].copy()
        # so that the ladder stays where it is in the picture
        view[..., 2:4] -= np.arctan(aside * np.exp(-y[..., 5:6]))
        return from_view(view, middle_mm), aside

    def left_over(y: np.ndarray) -> np.ndarray:
        params, aside = seen(y)
        points, _ = at.moved(aside)(params)
        r = points / sd_px
        far = np.abs(r) > _FAR
        if far.any():
            r[far] = np.sign(r[far]) * np.sqrt(2 * _FAR * np.abs(r[far]) - _FAR ** 2)
        longer = y[..., 5:6] - math.log(focal_px)
        if not part:
            return np.concatenate([r, longer / focal_sd], axis=-1)
        room = 0.5 * np.expm1(np.clip(longer, 0.0, _LONGEST) + focal_sd)
        beyond = np.maximum(np.abs(y[..., 6:]) - room, 0.0)
        return np.concatenate([r, (longer - _LONGER) / longer_sd, y[..., 6:] / _ASIDE_SD,
                               beyond / _ASIDE_BEYOND_SD], axis=-1)

    def slopes(y: np.ndarray) -> np.ndarray:
        """All at once, which is quicker than one after the other."""
        here, *there = left_over(y + _STEP * np.eye(len(y) + 1, len(y), -1))
        return np.asarray((np.array(there) - here).T / _STEP)

    start = np.append(as_view(pose.params, middle_mm), [0.0, 0.0] if part else [])
    found = least_squares(left_over, start, slopes, x_scale="jac", max_nfev=_MOST_ROUNDS)
    if not np.isfinite(found.x).all():
        return None
    normal = found.jac.T @ found.jac
    sign, log_det = np.linalg.slogdet(normal)
    if sign <= 0:
        return None
    params, aside = seen(found.x)
    points, _ = at.moved(aside)(params)
    mad = float(spread(points))
    worse = max(mad / POINT_SD_PX, 1.0) ** 2
    there = replace(pose, params=params, residual_px=mad, centre_px=(
        pose.centre_px[0] + float(aside[0]), pose.centre_px[1] + float(aside[1])))
    turn = (seen(found.x + _STEP * np.eye(len(found.x)))[0] - params).T / _STEP
    there = replace(there, covariance=turn @ np.linalg.inv(normal) @ turn.T * worse)
    priors = math.log(longer_sd / focal_sd) + 2 * math.log(_ASIDE_SD) if part else 0.0
    return _View(there, -float(found.cost) / worse - 0.5 * float(log_det) - priors)

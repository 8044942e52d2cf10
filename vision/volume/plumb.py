"""What the phone's own sensor adds to the view of a chamber: it hangs, so its axis is plumb.

The pose that the marks gave and the direction that the phone says are both known with a
covariance; put together they tell elevation and lean better (R. E. Kalman, J. Basic Eng. 82,
1960, 35).  Where they contradict each other the marks stand alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.imaging.gravity import PhoneGravity
from vision.parameters import CHAMBER_PLUMB_SD_DEG, CUES_DISAGREE_P

_STEP = 1e-6


def hung(fit: GraduationFit, gravity: PhoneGravity | None) -> tuple[GraduationFit, bool]:
    """The row with the pose that also obeys the phone's gravity, and whether the two agree.

    Nothing changes without gravity, where it contradicts the marks, and in a part of a photo,
    of which nobody knows where the camera looked.
    """
    if gravity is None or fit.cut:
        return fit, True
    pose, down = fit.pose, np.array(gravity.down)
    # Across the picture and along the sight line; the chamber leans more in the latter.
    across = np.cross(down, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    basis = np.array([across, np.cross(across, down)])

    def off_plumb(params: np.ndarray) -> np.ndarray:
        return np.asarray(basis @ pose.with_params(params).axis())

    lean = np.radians(np.hypot(CHAMBER_PLUMB_SD_DEG, gravity.sd_deg))
    r = off_plumb(pose.params)
    effect = np.column_stack([(off_plumb(pose.params + _STEP * e) - r) / _STEP for e in np.eye(6)])
    inverse = np.linalg.inv(effect @ pose.covariance @ effect.T + np.diag(lean**2))
    if not float(r @ inverse @ r) < -2.0 * np.log(CUES_DISAGREE_P):  # chi-square of two, exactly
        return fit, False
    gain = pose.covariance @ effect.T @ inverse
    covariance = pose.covariance - gain @ effect @ pose.covariance
    return replace(fit, pose=replace(pose, params=pose.params - gain @ r,
                                     covariance=(covariance + covariance.T) / 2)), True

"""A row of marks in another look of its picture, measured where it was found in the first."""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.wall import NO_ENDS, Task, measure_wall, shown_share


def marks_shown_in(fit: GraduationFit, grey: np.ndarray, shift: int = 0) -> float:
    """How many of the marks of a row show in another look ``grey`` (H, W) float32 of its picture,
    each counted as far as it is seen, where each really is ``shift`` marks further up the list; to
    be compared with the same of other looks."""
    params = fit.pose.params.copy()
    params[1] += shift * fit.evidence.step_mm
    task = Task(grey, fit.scale, *fit.focal, fit.focal_known, fit.samples.backs is not None)
    wall = measure_wall(task, fit.pose.with_params(params), NO_ENDS, rounds=0)
    if wall.core_rad is None:
        return 0.0
    return float(shown_share(wall.samples, wall.used, wall.core_rad).sum())

"""A row of marks in another look of its picture, measured where it was found in the first."""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.wall import (
    NO_ENDS,
    Task,
    explained,
    measure_wall,
    relative_misfit,
    shown_share,
)


def explained_in(fit: GraduationFit, grey: np.ndarray) -> float:
    """How well the marks of a row explain another look ``grey`` (H, W) float32 of its picture,
    nats, measured there once: to be compared with the same of other looks."""
    task = Task(grey, fit.scale, *fit.focal, fit.focal_known, fit.samples.backs is not None)
    wall = measure_wall(task, fit.pose, NO_ENDS, rounds=1)
    if wall.core_rad is None:
        return -np.inf
    return explained(float(shown_share(wall.samples, wall.used, wall.core_rad).sum()),
                     relative_misfit(wall.pose, fit.scale))

"""Marks that stand where the scale has none: those of another scale.

Two scales can print the same numbers on marks as far apart in one part, and differ in another;
there the chamber's own marks lie between those that the chosen scale has.
"""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.shift_likelihood import most_alike, present_marks
from vision.graduations.spacing import main_run
from vision.graduations.unrolled_samples import gaps_mm, sample_marks

#: Places between two marks at which a stray one is looked for, and how far from such a place it
#: may lie, in parts of the gap: neighbouring places share none.
_BETWEEN, _OFF_PLACE = (0.25, 0.5, 0.75), 0.13
#: A mark is at least so dark, as a share of the others.
_AS_DARK = 0.5
#: Share of the marks that is missing before any count: a surface, a drop or a shelf behind hides
#: one or two, and has edges beside.  Our choice: of chambers read against another scale 15 % and
#: more were missing, of those with so many strays read against their own 7 % at the most.
_LEAST_MISSING = 0.12
#: Azimuths at which it is looked, over what all marks cover.
_AZIMUTHS = 5


def stray_marks(fit: GraduationFit) -> int:
    """Gaps of the scale's main run in which a mark is seen and beside which one is missing, as
    many as look alike.

    Where both marks of a gap are there, a line between them is of something else: the back of
    the print, an edge behind the chamber.
    """
    run = main_run(fit.scale)
    height = fit.height_mm[run]
    if len(height) < 2:
        return 0
    gap = np.abs(np.diff(height))
    azimuth = np.linspace(*fit.core_rad, _AZIMUTHS)

    every = np.ones(_AZIMUTHS, dtype=bool)
    room = gaps_mm(height)
    strength, there = present_marks(
        sample_marks(fit.grey, fit.pose, height, room, azimuth), every, room)
    if not there.any() or 1.0 - there.mean() < _LEAST_MISSING:
        return 0
    least = _AS_DARK * float(np.median(strength[there]))
    stray = np.zeros(len(gap))
    for share in _BETWEEN:
        samples = sample_marks(
            fit.grey, fit.pose, height[:-1] + share * np.diff(height), gap, azimuth)
        strength, between = present_marks(samples, every, gap, _OFF_PLACE)
        stray = np.maximum(stray, np.where(between & (strength > least), strength, 0.0))
    return most_alike(stray[(stray > 0.0) & ~(there[:-1] & there[1:])])

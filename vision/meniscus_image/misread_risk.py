"""How likely a level that is read lies more than a division from the true one.

A misreading that looks sure is the worst that can happen; that chance, by the offset network's
own word, decides whether a level is read at all, and where.
"""

from __future__ import annotations

import numpy as np

from vision.meniscus_image.features import HARD_WALL_MM
from vision.scale_file.scale import Scale

#: Largest chance, by the offset network's own word, that the level lies more than a division from
#: what is read.  Behind a thick wall (the narrow part of a stepped bore), seen from above
#: or below, floor and step are mirrored close to the surface; there it must be smaller.  Our
#: choice: of 86 pictures of three renderers whose meniscus was uncertain one was off by more than a
#: division, where the chances came to 3.1 (docs/uncertainty.md); the network before was too sure of
#: strange places, and was asked for half of this and less.
LARGEST_CHANCE, MIRRORED_CHANCE, OBLIQUE_DEG = 0.1, 0.05, 10.0
#: The same where the liquid hides its meniscus.  Our choice.
HIDDEN_CHANCE = 0.04
#: Share of the chance up to which a level is read, to which a value is moved when it was more.  Our
#: choice.
_MOVED_TO_SHARE = 0.2
#: Heights tried between the lowest and the highest that is thought possible, mm.
_STEP_MM = 0.02


def largest_chance(elevation_deg: float, wall_mm: float, hidden: bool = False) -> float:
    """The chance of a misreading up to which a level is read."""
    if abs(elevation_deg) > OBLIQUE_DEG and wall_mm > HARD_WALL_MM:
        return MIRRORED_CHANCE
    return HIDDEN_CHANCE if hidden else LARGEST_CHANCE


def chance_of_misreading(read_mm: np.ndarray, level_mm: np.ndarray, probability: np.ndarray,
                         scale: Scale) -> np.ndarray:
    """Chance that the true value lies more than a division from the one read, for each
    of the heights ``read_mm`` (R,).

    ``probability`` (N,) is that of each height ``level_mm`` (N,), evenly spaced, and
    spread evenly between neighbours.
    """
    value = np.asarray(scale.value_at(np.atleast_1d(read_mm)), dtype=float)
    half = 0.5 * abs(float(level_mm[1] - level_mm[0])) if len(level_mm) > 1 else 1e-6
    ends = np.stack([scale.value_at(level_mm - half), scale.value_at(level_mm + half)])
    low, high = ends.min(axis=0), ends.max(axis=0)
    division = scale.divisions_at(value)[:, None]
    near = np.clip(np.minimum(high, value[:, None] + division)
                   - np.maximum(low, value[:, None] - division), 0.0, None)
    return np.asarray((1.0 - near / np.maximum(high - low, 1e-12)) @ probability)


def least_moved_mm(at_mm: float, level_mm: np.ndarray, probability: np.ndarray, scale: Scale,
                   limit: float) -> float:
    """The height nearest to ``at_mm`` from which the true level is more than a division away
    with no more than a small share of the chance ``limit``; where there is none, with the least.

    Where the front edge may be either of two lines, one or two divisions apart, it lies
    between them.
    """
    possible = level_mm[probability > 1e-4]
    if len(possible) == 0:
        return float(level_mm[int(np.argmax(probability))])
    tried = np.arange(possible.min(), possible.max() + _STEP_MM, _STEP_MM)
    chance = chance_of_misreading(tried, level_mm, probability, scale)
    allowed = tried[chance <= _MOVED_TO_SHARE * limit]
    if len(allowed):
        return float(allowed[int(np.argmin(np.abs(allowed - at_mm)))])
    # the middle of what is as good
    return float(np.mean(tried[chance <= chance.min() + 1e-3]))

"""How errors of readings hang together: noise is each reading's own, the scale is shared.

A difference of two readings of one scale is better known than two single
readings: u2 = u1^2 + u2^2 - 2 r u1 u2 (JCGM 100:2008, 5.2.2).  How much better,
ISO 4788:2005 bounds for graduated cylinders: the stated error is the largest at
any point *and* the largest difference between the errors at any two points.  So
with a bound T (rectangular, u = T / sqrt 3) for one point, the difference of two
points has the same u and not sqrt 2 times as much: r = 1/2 for the scale's part.
The same point read twice has the same scale error: r = 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

#: Over this many divisions the scale's errors pass from equal (r = 1) to only
#: bounded (r near 1/2).  Our choice; marks are printed by one stamp or screen, so
#: neighbours err alike.
NEIGHBOURHOOD_DIVISIONS = 5.0


@dataclass(frozen=True)
class Source:
    """One value read off a scale, with what is uncertain about it (mL)."""

    value_ml: float
    u_reading_ml: float
    scale_error_ml: float
    scale: str
    division_ml: float


def scale_correlation(distance_ml: float, division_ml: float) -> float:
    """Correlation of one scale's errors at two values so far apart: 1 down to 1/2.

    A constant plus an exponential kernel, hence always a valid covariance.
    """
    return 0.5 + 0.5 * math.exp(-abs(distance_ml) / (NEIGHBOURHOOD_DIVISIONS * division_ml))


def difference_uncertainty(u1: float, u2: float, r: float) -> float:
    """Standard uncertainty of a difference of two correlated values (JCGM 100, 5.2.2)."""
    return math.sqrt(max(0.0, u1 * u1 + u2 * u2 - 2 * r * u1 * u2))


def covariance_matrix(sources: Sequence[Source]) -> np.ndarray:
    """(N, N) covariance of the sources' errors in mL^2."""
    # One division per scale keeps the kernel one function, hence a valid covariance.
    division: dict[str, float] = {}
    for s in sources:
        division[s.scale] = max(s.division_ml, division.get(s.scale, 0.0))
    value, u_scale, u_reading, length = (np.array(column, dtype=float) for column in (
        [s.value_ml for s in sources], [s.scale_error_ml / math.sqrt(3) for s in sources],
        [s.u_reading_ml for s in sources],
        [NEIGHBOURHOOD_DIVISIONS * division[s.scale] for s in sources]))
    names = np.array([s.scale for s in sources], dtype=object)
    same = names[:, None] == names[None, :]
    r = 0.5 + 0.5 * np.exp(-np.abs(value[:, None] - value[None, :]) / length[:, None])
    return np.where(same, r * np.outer(u_scale, u_scale), 0.0) + np.diag(u_reading**2)


def combined(coefficients: np.ndarray, matrix: np.ndarray) -> float:
    """Standard uncertainty of a linear combination (JCGM 100:2008, equation 16)."""
    used = np.flatnonzero(coefficients)
    c = coefficients[used]
    return float(math.sqrt(max(0.0, c @ matrix[np.ix_(used, used)] @ c)))

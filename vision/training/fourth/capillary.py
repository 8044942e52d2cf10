"""The liquid's surface at rest in a round bore, as a two-point boundary-value problem.

Unknown along the radius r: height u over the lowest point and s, the sine of the surface's slope.
Laplace's pressure against the weight of the column (H. Princen, in: Surface and Colloid Science,
vol. 2, 1969; lengths in mm, a the capillary length, p twice the curvature at the lowest point):
u' = s / sqrt(1 - s^2), s' = p + u / a^2 - s / r; u(0) = s(0) = 0, s(R) given by the wall angle.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.integrate import solve_bvp


@lru_cache(maxsize=64)
def surface(wall_angle_deg: float, radius_mm: float, capillary_mm: float, flare: float = 0.0
            ) -> tuple[np.ndarray, np.ndarray]:
    """Radius and height over the lowest point (mm), (97,) each, from axis to wall.

    ``flare`` is how much the bore's radius grows per mm of height; the angle is against the
    wall.  A surface that would have to bend down is taken as flat.
    """
    shown = radius_mm * np.sin(np.linspace(0, math.pi / 2, 97))
    slope = math.pi / 2 - math.radians(wall_angle_deg) - math.atan(flare)
    if slope < 1e-3:
        return shown, np.zeros(97)
    edge = math.sin(slope)

    def change(r: np.ndarray, y: np.ndarray, p: np.ndarray) -> np.ndarray:
        s = np.clip(y[1], -0.9999, 0.9999)
        return np.stack([s / np.sqrt(1 - s**2), p[0] + y[0] / capillary_mm**2])

    def ends(axis: np.ndarray, wall: np.ndarray, p: np.ndarray) -> np.ndarray:
        return np.array([axis[0], axis[1], wall[1] - edge])

    # the decay from a plane wall is the first guess
    r = radius_mm * np.linspace(0, 1, 60) ** 0.6
    fall = np.exp((r - radius_mm) / capillary_mm)
    guess = np.stack([capillary_mm * edge * fall, edge * fall])
    found = solve_bvp(change, ends, r, guess, p=[2 * edge / radius_mm * fall[0]],
                      S=np.array([[0.0, 0.0], [0.0, -1.0]]), tol=1e-6, max_nodes=20000)
    if not found.success:
        raise RuntimeError(f"no surface for {wall_angle_deg} degrees in {radius_mm} mm")
    return shown, np.maximum(found.sol(shown)[0], 0.0)

"""The liquid's surface of revolution: Young-Laplace, integrated along the arc from the axis.

With arc length s, radius r, height z over the lowest point, slope angle psi, apex curvature b
and capillary length a: r' = cos psi, z' = sin psi, psi' = 2 b + z / a^2 - sin psi / r
(P.-G. de Gennes, F. Brochard-Wyart, D. Quere, Capillarity and Wetting Phenomena, 2004, ch. 2).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq


def surface_profile(contact_deg: float, radius_mm: float, capillary_mm: float,
                    wall_slope: float = 0.0, points: int = 90
                    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Radius, height over the lowest point (mm) and slope angle (rad), from axis to wall.

    ``wall_slope`` is how much the bore's radius grows per mm of height; the contact angle is
    taken against the wall.  A surface that would bend down is taken as flat.
    """
    end = math.pi / 2 - math.radians(contact_deg) - math.atan(wall_slope)
    if end < 1e-3:
        r = np.linspace(0.0, radius_mm, points)
        return r, np.zeros(points), np.zeros(points)

    def shape(b: float, dense: bool = False):  # type: ignore[no-untyped-def]
        def slope(_: float, y: np.ndarray) -> list[float]:
            r, z, psi = y
            around = b if r < 1e-9 else math.sin(psi) / r
            return [math.cos(psi), math.sin(psi), 2 * b + z / capillary_mm**2 - around]

        def at_wall(_: float, y: np.ndarray) -> float:
            return float(y[0] - radius_mm)

        def upright(_: float, y: np.ndarray) -> float:
            return float(y[2] - math.pi / 2 + 1e-4)

        at_wall.terminal = upright.terminal = True  # type: ignore[attr-defined]
        return solve_ivp(slope, (0, 4 * radius_mm + 20), [0.0, 0.0, 0.0], "DOP853", rtol=1e-8,
                         atol=1e-11, events=(at_wall, upright), dense_output=dense)

    def miss(log_b: float) -> float:
        found = shape(math.exp(log_b))
        if found.t_events[1].size:
            return math.pi / 2 - end + (radius_mm - found.y[0, -1]) / radius_mm
        return float(found.y[2, -1]) - end

    steepest = math.cos(math.pi / 2 - end) / radius_mm
    b = math.exp(brentq(miss, math.log(1e-14), math.log(2 * steepest + 1e-9), xtol=1e-10))
    found = shape(b, dense=True)
    s = found.t[-1] * (1 - (1 - np.linspace(0, 1, points)) ** 1.6)  # closer towards the wall
    r, z, psi = found.sol(s)
    r[0], r[-1] = 0.0, radius_mm
    return r, z, psi

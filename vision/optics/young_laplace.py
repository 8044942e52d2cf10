"""Shape of a liquid surface at rest in a round bore (axisymmetric Young-Laplace).

With lengths in capillary lengths c = sqrt(sigma / (rho g)), u the height above
the flat level outside, psi the slope angle and s the arc length from the axis:

    dr/ds = cos psi,   du/ds = sin psi,   dpsi/ds = u - sin(psi)/r

(F. Bashforth, J. C. Adams, *An Attempt to Test the Theories of Capillary
Action*, 1883; R. Finn, *Equilibrium Capillary Surfaces*, 1986.)  Near the axis,
where the slope is small, u is proportional to the Bessel function I0(r); that
start is exact enough (relative error psi^2) and keeps very wide bores, whose u
on the axis is tiny, as accurate as narrow ones.  From there the slope angle
itself is the variable, which makes every bore end at its wall angle.

A surface that does not wet its wall (contact angle over 90 degrees) is the
mirror image: rises and slopes turn negative.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from vision.constants import WATER_CAPILLARY_LENGTH
from vision.errors import InputError

WATER_CAPILLARY_LENGTH_MM = WATER_CAPILLARY_LENGTH.value

#: Slope at which the Bessel start hands over: its relative error is about the square.
_START_SLOPE = 1e-3
_STEPS = 240


def meniscus_rise_mm(contact_angle_deg: Any, bore_radius_mm: Any,
                     capillary_length_mm: float = WATER_CAPILLARY_LENGTH_MM) -> Any:
    """Height of the contact line above the lowest point on the axis, in mm.

    Negative for contact angles above 90 degrees (the middle stands highest).
    Inputs broadcast; an interpolation table stands behind it (relative error
    below 1e-4, any bore from zero to infinitely wide).
    """
    slope = np.radians(90.0 - np.asarray(contact_angle_deg, dtype=float))
    radius = np.asarray(bore_radius_mm, dtype=float) / capillary_length_mm
    if np.any(np.abs(slope) > np.pi / 2 + 1e-9) or np.any(radius <= 0):
        raise InputError("A contact angle lies between 0 and 180 degrees and a bore radius "
                         "is more than 0 mm: correct the value.")
    rise = capillary_length_mm * _planar(slope) * _ratio(radius, np.abs(slope))
    return float(rise) if np.ndim(rise) == 0 else rise


def contact_angle_from_rise(rise_mm: Any, bore_radius_mm: Any,
                            capillary_length_mm: float = WATER_CAPILLARY_LENGTH_MM) -> Any:
    """The contact angle (degrees) that makes the surface rise by ``rise_mm`` at the wall.

    NaN where the rise is larger than complete wetting can make it in that bore.
    """
    rise, radius = np.broadcast_arrays(np.asarray(rise_mm, dtype=float),
                                       np.asarray(bore_radius_mm, dtype=float))
    low, high = np.zeros(rise.shape), np.full(rise.shape, 90.0)
    size = np.abs(rise)
    for _ in range(50):  # bisection: the rise grows with wetting in every bore
        middle = (low + high) / 2
        too_small = meniscus_rise_mm(90.0 - middle, radius, capillary_length_mm) < size
        low, high = np.where(too_small, middle, low), np.where(too_small, high, middle)
    most = meniscus_rise_mm(0.0, radius, capillary_length_mm)
    angle = np.where(size <= most, 90.0 - np.sign(rise) * (low + high) / 2, np.nan)
    return float(angle) if angle.ndim == 0 else angle


def meniscus_profile(contact_angle_deg: float, bore_radius_mm: float, n: int = 101,
                     capillary_length_mm: float = WATER_CAPILLARY_LENGTH_MM,
                     ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The surface from the axis to the wall: (r_mm, z_mm, slope_rad), each of shape (n,).

    ``z_mm`` is the height above the point on the axis, ``slope_rad`` the angle
    against the horizontal.  Points are evenly spaced along the arc, so that the
    steep part beside the wall is as well drawn as the middle.
    """
    if not (0 <= contact_angle_deg <= 180 and bore_radius_mm > 0 and n >= 2):
        raise InputError("A contact angle lies between 0 and 180 degrees, a bore radius is more "
                         "than 0 mm and a profile has two points or more: correct the value.")
    sign = 1.0 if contact_angle_deg <= 90 else -1.0
    wall_slope = np.radians(abs(90.0 - contact_angle_deg))
    radius = bore_radius_mm / capillary_length_mm
    if wall_slope <= _START_SLOPE:
        r = np.linspace(0.0, radius, n)
        z, slope = _bessel(r, radius, wall_slope)
    else:
        r, z, slope = _shoot(radius, wall_slope, n)
    c = capillary_length_mm
    return c * r, sign * c * z, sign * slope


def _planar(slope: Any) -> Any:
    """Rise at a single flat wall, in capillary lengths: 2 sin(slope/2) (closed form)."""
    return 2 * np.sin(np.asarray(slope) / 2)


def _bessel(r: Any, r_end: Any, slope_end: Any) -> tuple[Any, Any]:
    """Height above the axis and slope at ``r`` of the small-slope surface.

    Proportional to I0(r) - 1 and I1(r), scaled to ``slope_end`` at ``r_end``.
    """
    from scipy.special import i0e, i1e

    scale = slope_end * np.exp(r - r_end) / i1e(r_end)
    return scale * (i0e(r) - np.exp(-r)), scale * i1e(r)


def _march(r_start: np.ndarray, slope_end: float) -> tuple[np.ndarray, ...]:
    """Integrate surfaces that start at ``r_start`` (N,) with slope ``_START_SLOPE``.

    Returns slope (M,) and r, rise above the axis, arc length (each (M, N)).
    Fourth-order Runge-Kutta in the logarithm of the slope.
    """
    from scipy.special import i0e, i1e

    x = np.linspace(np.log(_START_SLOPE), np.log(slope_end), _STEPS + 1)
    h = x[1] - x[0]
    height = _START_SLOPE * i0e(r_start) / i1e(r_start)  # above the outside level
    rise, _ = _bessel(r_start, r_start, _START_SLOPE)
    outside = height - rise  # height of the point on the axis
    y = np.stack([r_start, rise, r_start])
    out = [y]

    def rate(x: float, y: np.ndarray) -> np.ndarray:
        slope = np.exp(x)
        ds = slope / (outside + y[1] - np.sin(slope) / y[0])
        return np.stack([np.cos(slope) * ds, np.sin(slope) * ds, ds])

    for x0 in x[:-1]:
        k1 = rate(x0, y)
        k2 = rate(x0 + h / 2, y + h / 2 * k1)
        k3 = rate(x0 + h / 2, y + h / 2 * k2)
        k4 = rate(x0 + h, y + h * k3)
        y = y + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        out.append(y)
    r, z, s = np.stack(out, axis=1)
    return np.exp(x), r, z, s


def _shoot(radius: float, wall_slope: float, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The surface that reaches ``wall_slope`` exactly at ``radius``, n points along the arc."""
    from scipy.interpolate import CubicSpline
    from scipy.optimize import brentq

    def miss(log_start: float) -> float:
        _, r, _, _ = _march(np.exp([log_start]), wall_slope)
        return float(np.log(r[-1, 0] / radius))

    # A sphere (narrow bore) starts at radius * 1e-3 / sin(slope) or more; none starts
    # outside its wall.
    start = np.exp(brentq(miss, np.log(radius * _START_SLOPE * 0.5), np.log(radius), xtol=1e-12))
    slope, r, z, s = _march(np.array([start]), wall_slope)
    r, z, s = r[:, 0], z[:, 0], s[:, 0]
    core = np.linspace(0.0, start, 40, endpoint=False)
    core_z, core_slope = _bessel(core, start, _START_SLOPE)
    along = np.concatenate([core, s])
    shape = CubicSpline(along, np.stack([np.concatenate([core, r]), np.concatenate([core_z, z]),
                                         np.concatenate([core_slope, slope])], axis=1))
    even = shape(np.linspace(0.0, s[-1], n))
    even[-1] = radius, z[-1], wall_slope
    return even[:, 0], even[:, 1], even[:, 2]


@dataclass(frozen=True)
class _RatioTable:
    """rise / planar rise over t = R/(1+R) and the wall slope, as a smooth surface."""

    spline: Any

    def __call__(self, radius: Any, slope: Any) -> Any:
        radius = np.asarray(radius, dtype=float)
        t = np.where(np.isinf(radius), 1.0, radius / (1.0 + np.where(np.isinf(radius), 0, radius)))
        return self.spline.ev(t, np.minimum(slope, np.pi / 2))


@lru_cache(maxsize=1)
def _ratio_table() -> _RatioTable:
    """Computed once, in some tens of milliseconds.

    The ratio runs from 0 (narrow) to 1 (infinitely wide) and is smooth in both
    directions, so that a cubic spline over coarse nodes does.
    """
    from scipy.interpolate import CubicSpline, RectBivariateSpline
    from scipy.special import i0e, i1e

    starts = np.exp(np.concatenate([np.linspace(np.log(1e-6), np.log(0.5), 90),
                                    np.log(np.linspace(0.55, 60.0, 150))]))
    slope, r, z, _ = _march(starts, np.pi / 2)
    t = np.concatenate([np.linspace(0.0, 0.9, 61), np.linspace(0.9, 0.98, 12)[1:], [0.99, 1.0]])
    t[0] = 0.0
    inner = t[1:-1] / (1 - t[1:-1])
    ratios = np.zeros((len(t), len(slope)))
    for j in range(len(slope)):
        over = CubicSpline(np.log(r[j]), z[j] / _planar(slope[j]) / r[j] * (1 + r[j]))
        ratios[1:-1, j] = over(np.log(inner)) * inner / (1 + inner)
    ratios[-1] = 1.0
    nodes = np.radians(np.linspace(0.0, 90.0, 46))
    flat = np.zeros(len(t))  # the limit of small slopes: (I0(R) - 1) / I1(R)
    flat[1:-1] = (i0e(inner) - np.exp(-inner)) / i1e(inner)
    flat[-1] = 1.0
    along = CubicSpline(np.concatenate([[0.0], slope[80:]]),
                        np.column_stack([flat, ratios[:, 80:]]), axis=1)
    return _RatioTable(RectBivariateSpline(t, nodes, along(nodes), kx=3, ky=3, s=0))


def _ratio(radius: Any, slope: Any) -> Any:
    return _ratio_table()(radius, slope)

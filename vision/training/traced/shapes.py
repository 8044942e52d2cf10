"""Shapes of a traced chamber as triangles: walls, liquid surface, drops.  Numpy and SciPy only.

Lengths in mm, in the chamber's frame: z along its axis, marks towards -y, x to the right as one
faces them.  A shape is (vertices (N, 3), faces (M, 3), normals (N, 3)); normals point away from
the liquid or the plastic, whichever fills the inside.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

#: Steps round the tube: on 17 mm of radius a chord lies 1.3 micrometres inside the circle.
AROUND = 256


@dataclass(frozen=True)
class Shape:
    """Triangles with a normal at each corner."""

    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray


def meniscus(contact_deg: float, radius_mm: float, capillary_mm: float
             ) -> tuple[np.ndarray, np.ndarray]:
    """Radius and height above the axis point (N,) of a liquid surface at rest in a round bore.

    The Young-Laplace equation of revolution, d(sin psi r)/dr = r u / c^2, as a boundary-value
    problem in r with slope cot(contact angle) at the wall (R. Finn, *Equilibrium Capillary
    Surfaces*, 1986, ch. 2), solved by collocation.
    """
    from scipy.integrate import solve_bvp

    r = np.linspace(0.0, 1.0, 241) ** 0.6 * radius_mm
    sine = np.cos(np.radians(contact_deg))  # of the slope angle at the wall
    if sine < 1e-4:
        return r, np.zeros_like(r)

    def rate(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        # y: height over the far level, r times the sine of the slope angle
        s = np.clip(y[1] / np.maximum(x, 1e-9), -0.99999, 0.99999)
        return np.stack([s / np.sqrt(1 - s * s), x * y[0] / capillary_mm**2])

    def ends(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.array([a[1], b[1] - radius_mm * sine])

    guess = 0.5 * sine * capillary_mm * np.exp((r - radius_mm) / capillary_mm)
    found = solve_bvp(rate, ends, r, np.stack([guess, sine * r**2 / radius_mm]), tol=1e-6,
                      max_nodes=20000)
    if found.status != 0:
        raise ValueError(f"no surface: {found.message}")
    u = found.sol(r)[0]
    return r, u - u[0]


def revolved(knots: np.ndarray, outward: bool = True, rows_mm: float = 1.0) -> Shape:
    """A surface of revolution through ``knots`` (N, 2) of (radius, height), with sharp edges.

    With knots that rise, ``outward`` normals point away from the axis.
    """
    out = []
    for (r0, z0), (r1, z1) in zip(knots[:-1], knots[1:], strict=True):
        length = float(np.hypot(r1 - r0, z1 - z0))
        if length < 1e-9:
            continue
        t = np.linspace(0.0, 1.0, max(2, int(length / rows_mm) + 1))[:, None]
        phi = np.linspace(-np.pi, np.pi, AROUND + 1)[None]
        normal = np.array([z1 - z0, r0 - r1]) / length * (1 if outward else -1)
        out.append(_grid((r0 + t * (r1 - r0)) + 0 * phi, phi + 0 * t, z0 + t * (z1 - z0) + 0 * phi,
                         np.broadcast_to(normal[0], t.shape), np.broadcast_to(normal[1], t.shape)))
    return joined(out)


def joined(shapes: list[Shape]) -> Shape:
    """Several shapes as one."""
    first = np.cumsum([0, *(len(s.vertices) for s in shapes[:-1])])
    return Shape(np.concatenate([s.vertices for s in shapes]),
                 np.concatenate([s.faces + k for s, k in zip(shapes, first, strict=True)]),
                 np.concatenate([s.normals for s in shapes]))


def _grid(r: np.ndarray, phi: np.ndarray, z: np.ndarray, nr: np.ndarray, nz: np.ndarray) -> Shape:
    """Triangles over a grid (rows, columns) in round coordinates, azimuth 0 towards -y."""
    s, c = np.sin(phi), -np.cos(phi)
    v = np.stack([r * s, r * c, z], -1)
    n = np.stack([nr * s, nr * c, nz + 0 * phi], -1)
    return Shape(v.reshape(-1, 3), faces_of(*r.shape), n.reshape(-1, 3))


def faces_of(rows: int, columns: int) -> np.ndarray:
    """Triangles (M, 3) between the points of a grid."""
    i = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)[None]).ravel()
    return np.concatenate([np.stack([i, i + 1, i + columns], 1),
                           np.stack([i + 1, i + columns + 1, i + columns], 1)])


def bumpy_wall(radius_mm: Callable[[np.ndarray], np.ndarray], low_mm: np.ndarray, high_mm: float,
               bulge_mm: Callable[[np.ndarray, np.ndarray], np.ndarray], rows: int = 420) -> Shape:
    """The inner wall from heights ``low_mm`` (AROUND + 1,) up, bulging inwards by
    ``bulge_mm(azimuth, height)``: drops, the end of a film.  Normals point to the axis."""
    phi = np.linspace(-np.pi, np.pi, AROUND + 1)[None]
    t = np.linspace(0.0, 1.0, rows)[:, None]
    z = low_mm[None] + t * (high_mm - low_mm[None])
    p = phi + 0 * z
    r = radius_mm(z) - bulge_mm(p, z)
    v = np.stack([r * np.sin(p), -r * np.cos(p), z], -1)
    n = np.cross(np.gradient(v, axis=0), np.gradient(v, axis=1))
    n /= np.linalg.norm(n, axis=-1, keepdims=True) + 1e-12
    axis = -np.stack([np.sin(p), -np.cos(p), 0 * p], -1)
    n *= np.sign((n * axis).sum(-1, keepdims=True))
    n[:, -1] = n[:, 0] = (n[:, 0] + n[:, -1]) / 2
    return Shape(v.reshape(-1, 3), faces_of(rows, AROUND + 1), n.reshape(-1, 3))


def surface_height(x: np.ndarray, y: np.ndarray, level_mm: float, lean: tuple[float, float],
                   profile: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Height of the liquid surface over a place (x, y): the plane through the lowest point, square
    to gravity, and the rise of the meniscus.  ``lean`` is the slope of that plane."""
    rise = np.interp(np.hypot(x, y), *profile)
    return np.asarray(level_mm - lean[0] * x - lean[1] * y + rise)


def liquid_surface(level_mm: float, lean: tuple[float, float],
                   profile: tuple[np.ndarray, np.ndarray]) -> Shape:
    """The liquid surface, normals upward."""
    r, rise = profile
    phi = np.linspace(-np.pi, np.pi, AROUND + 1)[None]
    rr, p = r[:, None] + 0 * phi, phi + 0 * r[:, None]
    x, y = rr * np.sin(p), -rr * np.cos(p)
    slope = np.gradient(rise, r)[:, None]
    n = np.stack([lean[0] - slope * np.sin(p), lean[1] + slope * np.cos(p), np.ones_like(p)], -1)
    n /= np.linalg.norm(n, axis=-1, keepdims=True)
    v = np.stack([x, y, surface_height(x, y, level_mm, lean, profile)], -1)
    return Shape(v.reshape(-1, 3), faces_of(*p.shape), n.reshape(-1, 3))

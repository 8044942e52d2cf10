"""The shape of a liquid surface in a round tube standing plumb.

Young-Laplace equation for a surface of revolution: with Z the height above the
level of a wide open dish and a the capillary length sqrt(sigma / (rho g)),

    (1/r) d/dr ( r Z' / sqrt(1 + Z'^2) ) = Z / a^2,   Z'(0) = 0,   Z'(R) = cot(theta).

Solved by finite volumes (the flux through the wall is exactly cos(theta)) and
Newton's method on the tridiagonal system.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_banded

#: Water against air, 20 to 37 degC: 2.73 to 2.68 mm (IAPWS R1-76(2014) over density).
CAPILLARY_LENGTH_MM = 2.7


@dataclass(frozen=True)
class MeniscusProfile:
    """Heights above the lowest point, at radii evenly spaced from 0 to ``bore_radius_mm``.

    ``rise_mm`` and ``slope`` are (N,) arrays; ``dish_level_mm`` is how far the
    lowest point stands above the level of a wide dish (capillary rise).
    """

    bore_radius_mm: float
    contact_angle_deg: float
    rise_mm: np.ndarray
    slope: np.ndarray
    dish_level_mm: float

    @property
    def rim_mm(self) -> float:
        """Height of the contact line above the lowest point."""
        return float(self.rise_mm[-1])


def meniscus_profile(
    bore_radius_mm: float,
    contact_angle_deg: float,
    capillary_length_mm: float = CAPILLARY_LENGTH_MM,
    points: int = 513,
) -> MeniscusProfile:
    """Solve the profile for contact angles of 0 < theta <= 90 degrees (mm in, mm out)."""
    if not 0.0 < contact_angle_deg <= 90.0:
        raise ValueError("the contact angle must lie above 0 and not above 90 degrees")
    r = np.linspace(0.0, bore_radius_mm, points)
    h = r[1]
    a2 = capillary_length_mm**2
    faces = r[:-1] + h / 2
    inner = np.concatenate([[0.0], faces])
    outer = np.concatenate([faces, [bore_radius_mm]])
    cells = (outer**2 - inner**2) / 2
    wall_flux = bore_radius_mm * np.cos(np.radians(contact_angle_deg))
    # Start from the narrow-tube rise blended with the wide-tube decay from the wall.
    wall = np.sqrt(2 * (1 - np.sin(np.radians(contact_angle_deg)))) * capillary_length_mm
    z = wall * np.exp((r - bore_radius_mm) / capillary_length_mm) * 0.5
    z += wall_flux / (bore_radius_mm**2 / 2) * a2 * np.exp(-bore_radius_mm / capillary_length_mm)

    def residual(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        s = np.diff(z) / h
        root = np.sqrt(1 + s * s)
        flux = faces * s / root
        total = np.concatenate([flux, [wall_flux]]) - np.concatenate([[0.0], flux])
        return total - cells * z / a2, faces / (root**3 * h)

    f, stiff = residual(z)
    for _ in range(200):
        ab = np.zeros((3, points))
        ab[0, 1:] = stiff
        ab[2, :-1] = stiff
        ab[1] = -np.concatenate([stiff, [0.0]]) - np.concatenate([[0.0], stiff]) - cells / a2
        step = solve_banded((1, 1), ab, -f)
        size = 1.0
        norm = float(np.abs(f).max())
        while True:
            trial, trial_stiff = residual(z + size * step)
            if float(np.abs(trial).max()) < norm or size < 1e-6:
                break
            size /= 2
        z, f, stiff = z + size * step, trial, trial_stiff
        if float(np.abs(size * step).max()) < 1e-10:
            break
    slope = np.gradient(z, h, edge_order=2)
    slope[0] = 0.0
    slope[-1] = 1.0 / np.tan(np.radians(contact_angle_deg)) if contact_angle_deg < 90 else 0.0
    return MeniscusProfile(
        bore_radius_mm, contact_angle_deg, z - z[0], np.maximum(slope, 0.0), float(z[0])
    )

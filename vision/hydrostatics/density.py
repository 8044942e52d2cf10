"""Density of the fluid in the line, kg/m3, over temperature in degrees Celsius."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Literal

import numpy as np

from vision.constants import CSF_DENSITY_37C, SALINE_DENSITY_20C, Constant
from vision.errors import InputError

Liquid = Literal["csf", "saline", "water"]
LIQUIDS: tuple[Liquid, ...] = ("csf", "saline", "water")

TANAKA = ("M. Tanaka, G. Girard, R. Davis, A. Peuto, N. Bignell, Recommended table for the "
          "density of water between 0 degC and 40 degC, Metrologia 2001;38:301, equation (1)")

#: Fluids other than water, each with the temperature in degC at which it was measured.
_MEASURED: dict[Liquid, tuple[Constant, float]] = {
    "csf": (CSF_DENSITY_37C, 37.0), "saline": (SALINE_DENSITY_20C, 20.0)}
#: Standard uncertainty of water after ``TANAKA``, kg/m3.
_WATER_SD = 0.001

_A1, _A2, _A3, _A4 = -3.983035, 301.797, 522528.9, 69.34881
_A5 = 999.974950


def water_density_kg_m3(temperature_c: Any) -> Any:
    """Density of air-free water at 101.325 kPa, 0 to 40 degC (CIPM formula, ``TANAKA``).

    rho = a5 (1 - (t + a1)^2 (t + a2) / (a3 (t + a4))).
    """
    if isinstance(temperature_c, (int, float)):
        return _at_one_temperature(float(temperature_c))
    return _water_density(temperature_c)


@lru_cache(maxsize=64)  # an account asks for the same few again and again
def _at_one_temperature(temperature_c: float) -> float:
    return float(_water_density(temperature_c))


def _water_density(temperature_c: Any) -> Any:
    t = np.asarray(temperature_c, dtype=float)
    if not np.all((t >= 0) & (t <= 40)):
        raise InputError("The fluid's temperature has to be between 0 and 40 degC: correct it.")
    rho = _A5 * (1 - (t + _A1) ** 2 * (t + _A2) / (_A3 * (t + _A4)))
    return float(rho) if rho.ndim == 0 else rho


def density_kg_m3(liquid: Liquid, temperature_c: Any) -> Any:
    """Density of water, 0.9 % saline or cerebrospinal fluid.

    Saline and cerebrospinal fluid are known at one temperature each; to others
    they are taken to expand like water (they are 99 % water; the solutes change
    the expansion by less than 0.3 kg/m3 between 20 and 37 degC, our estimate).
    """
    _check(liquid)
    water = water_density_kg_m3(temperature_c)
    if liquid not in _MEASURED:
        return water
    known, at_c = _MEASURED[liquid]
    return water + (known.value - float(water_density_kg_m3(at_c)))


def density_sd_kg_m3(liquid: Liquid) -> float:
    """Standard uncertainty of the density at the temperature at which it was measured: of
    cerebrospinal fluid the spread between people, of water and saline what their sources leave."""
    _check(liquid)
    known = _MEASURED.get(liquid)
    return _WATER_SD if known is None else known[0].standard_uncertainty or 0.0


def _check(liquid: str) -> None:
    if liquid not in LIQUIDS:
        raise InputError(f"'{liquid}' is not a fluid known here: give csf, saline or water.")

"""Physical constants and published tables: each with unit, uncertainty and source.

No bare physical number stands elsewhere in the package.  Published tables are
kept as files in ``vision/data/tables`` with their source in the first lines.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files


@dataclass(frozen=True)
class Constant:
    """A number with its unit, standard uncertainty and reference.

    ``standard_uncertainty`` is in ``unit``; 0.0 means exact by definition, None
    that the source gives none.
    """

    name: str
    value: float
    unit: str
    standard_uncertainty: float | None
    reference: str

    def __float__(self) -> float:
        return self.value


SP811 = ("A. Thompson, B. N. Taylor, Guide for the Use of the International System of Units, "
         "NIST Special Publication 811, 2008 edition, appendix B")

STANDARD_GRAVITY = Constant(
    "standard acceleration of free fall", 9.80665, "m/s2", 0.0,
    "3rd General Conference on Weights and Measures, 1901; " + SP811)

LOCAL_GRAVITY_HALF_RANGE = Constant(
    "half the range of free fall between equator and pole", 0.026, "m/s2", None,
    "9.780 to 9.832 m/s2, normal gravity of geodesy (from memory)")

CM_H2O = Constant("conventional centimetre of water", 98.0665, "Pa", 0.0,
                  "1 cm x 1000 kg/m3 x standard gravity; " + SP811)

MM_HG = Constant("conventional millimetre of mercury", 133.322387415, "Pa", 0.0,
                 "1 mm x 13595.1 kg/m3 x standard gravity; " + SP811)

CSF_DENSITY_37C = Constant(
    "density of cerebrospinal fluid at 37 degC", 1000.59, "kg/m3", 0.20,
    "Densities of cerebrospinal fluid and spinal anaesthetic solutions, "
    "Can J Anaesth 1998 (PMID 9597201): mean 1.00059 g/mL, SD 0.00020, n = 131")

SALINE_DENSITY_20C = Constant(
    "density of 0.9 % (9 g/L) sodium chloride solution at 20 degC", 1004.6, "kg/m3", 0.1,
    "Poradnik fizykochemiczny, WNT, Warszawa 1974: 1 % by mass 1005.3 kg/m3, water 998.2, and "
    "9 g/L are 0.896 % by mass; the uncertainty is our estimate")

WATER_REFRACTIVE_INDEX = Constant(
    "refractive index of water, visible light, 20 to 37 degC", 1.333, "1", 0.001,
    "IAPWS R9-97, Release on the Refractive Index of Ordinary Water Substance: "
    "1.3334 at 20 degC to 1.3314 at 37 degC (589 nm)")

WATER_CAPILLARY_LENGTH = Constant(
    "capillary length of water, 20 to 37 degC", 2.70, "mm", 0.03,
    "sqrt(sigma / (rho g)) with sigma after IAPWS R1-76(2014) and density after "
    "Tanaka et al., Metrologia 2001;38:301: 2.73 mm at 20 degC, 2.68 mm at 37 degC")

DRAIN_LINE_RESISTANCE_LIMIT = Constant(
    "largest flow resistance found in five drain systems", 3.5, "mm[Hg].min/mL", None,
    "Czosnyka et al., Neurosurgery 2003;52:619")


@lru_cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a published table kept as ``data/tables/<name>.csv``.

    Lines starting with ``#`` hold the source; every row also has its own.
    """
    text = (files("vision") / "data" / "tables" / f"{name}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return tuple(csv.DictReader(lines))


def refractive_index(material: str) -> Constant:
    """Refractive index of a wall material (``table('refractive_index')``), KeyError if unknown."""
    return _row("refractive_index", material, "1")


def contact_angle_deg(material: str) -> Constant:
    """Equilibrium contact angle of water on a clean material, KeyError if unknown."""
    return _row("contact_angle", material, "deg")


def _row(name: str, material: str, unit: str) -> Constant:
    for row in table(name):
        if row["material"] == material:
            u = row["standard_uncertainty"]
            return Constant(f"{name.replace('_', ' ')} of {material}", float(row["value"]), unit,
                            float(u) if u else None, row["reference"])
    raise KeyError(material)

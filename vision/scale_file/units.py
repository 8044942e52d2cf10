"""Units that may stand on a scale, as UCUM codes, sorted by what they measure.

Source of the codes: The Unified Code for Units of Measure (UCUM), case-sensitive
form; brackets belong to the code.
"""

from __future__ import annotations

from typing import Literal

UnitKind = Literal["volume", "pressure", "other"]

#: Volume codes and their size in mL.
VOLUME_ML: dict[str, float] = {
    "mL": 1.0, "ml": 1.0, "L": 1000.0, "l": 1000.0, "dL": 100.0, "dl": 100.0,
    "cL": 10.0, "cl": 10.0, "uL": 0.001, "ul": 0.001, "cm3": 1.0,
}
PRESSURE = frozenset({"cm[H2O]", "mm[H2O]", "mm[Hg]", "Pa", "hPa", "kPa", "mbar"})
#: Harmless on other glassware: nothing in the physics of the reading uses them.
OTHER = frozenset({"1", "%", "Cel", "[degF]", "K", "mm", "cm", "m", "deg", "g", "kg", "mg",
                   "g/mL", "g/cm3", "kg/m3", "mol/L", "mmol/L", "s", "min", "h"})

_SLIPS = {
    "mmhg": "mm[Hg]", "mm hg": "mm[Hg]", "mm[hg]": "mm[Hg]", "torr": "mm[Hg]",
    "cmh2o": "cm[H2O]", "cm h2o": "cm[H2O]", "cm[h2o]": "cm[H2O]", "cmwater": "cm[H2O]",
    "cc": "mL", "ccm": "mL", "millilitre": "mL", "milliliter": "mL", "millilitres": "mL",
    "milliliters": "mL", "litre": "L", "liter": "L", "cm^3": "cm3", "µl": "uL", "μl": "uL",
    "°c": "Cel", "degc": "Cel", "c": "Cel", "celsius": "Cel", "°f": "[degF]", "°": "deg",
}


def unit_kind(unit: str) -> UnitKind | None:
    """What a UCUM code measures, None for a code that no scale here may carry."""
    if unit in VOLUME_ML:
        return "volume"
    if unit in PRESSURE:
        return "pressure"
    return "other" if unit in OTHER else None


def suggested_unit(unit: str) -> str | None:
    """The code that was probably meant, None when there is no good guess."""
    low = unit.strip().lower()
    if low in _SLIPS:
        return _SLIPS[low]
    for code in (*VOLUME_ML, *sorted(PRESSURE), *sorted(OTHER)):
        if code.lower() == low:
            return code
    return None

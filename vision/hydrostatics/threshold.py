"""The pressure at which a drain really opens, when it does not hang level.

effective threshold at the landmark = rho g (setting height + offset), with
offset = height of the zero reference - height of the landmark.  The panel's
scale is taken to be divided in conventional units, so that a setting in mm[Hg]
stands at 1.35951 cm for each mm[Hg].
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from vision.budget import NORMAL_95, BudgetTerm
from vision.constants import LOCAL_GRAVITY_HALF_RANGE, STANDARD_GRAVITY
from vision.errors import InputError
from vision.hydrostatics.columns import BODY_TEMPERATURE_C, column_cm_h2o, height_for_pressure_cm
from vision.hydrostatics.density import Liquid, density_kg_m3, density_sd_kg_m3
from vision.hydrostatics.units import (
    CM_H2O_CODE,
    MM_HG_CODE,
    both_units,
    convert,
    number_text,
    require_finite,
    unit_code,
)

Direction = Literal["too high", "too low", "level", "either way"]

#: Bounds that only catch slips of the finger; they are no clinical limits.
SETTING_BOUNDS_CM_H2O = (-50.0, 100.0)
OFFSET_BOUNDS_CM = (-150.0, 150.0)

CAUTIONS = (
    "The landmark is chosen by the order; choosing it is the larger error and no camera sees it.",
    "A closed stopcock, a kink, air in the line or a wet or blocked vent makes these figures "
    "meaningless.",
    "A calculation, not advice: the local order and trained staff decide.",
)


@dataclass(frozen=True)
class Threshold:
    """Setting and offset turned into the pressure at which the drain opens.

    Pressures in cm[H2O] at the landmark.  ``interval_cm_h2o`` is None when no
    interval of the offset was given: nothing is known then about how far off the
    value may be.  ``budget`` is in cm[H2O].
    """

    setting_cm_h2o: float
    setting_unit: str
    offset_cm: float
    offset_interval_cm: tuple[float, float] | None
    value_cm_h2o: float
    interval_cm_h2o: tuple[float, float] | None
    direction: Direction
    liquid: Liquid
    temperature_c: float
    coverage: float
    budget: tuple[BudgetTerm, ...]

    @property
    def sentence(self) -> str:
        """The result in words, both units stated."""
        opens = f"The drain opens at {both_units(self.value_cm_h2o)} at the landmark"
        if self.interval_cm_h2o is not None:
            low, high = self.interval_cm_h2o
            opens += (f", 95 % interval {number_text(low)} to {number_text(high)} cmH2O "
                      f"({number_text(_mm_hg(low))} to {number_text(_mm_hg(high))} mmHg)")
        return f"{opens}; set to {both_units(self.setting_cm_h2o)}. {self.effect}"

    @property
    def effect(self) -> str:
        """Which way the error works."""
        off = number_text(abs(self.offset_cm))
        if self.direction == "too low":
            return f"The system hangs {off} cm too low: it drains more than ordered."
        if self.direction == "too high":
            return f"The system hangs {off} cm too high: it drains less than ordered."
        if self.direction == "level":
            return "The system hangs level with the landmark."
        low, high = self.offset_interval_cm or (self.offset_cm, self.offset_cm)
        return (f"The system hangs between {number_text(abs(low))} cm too low and "
                f"{number_text(high)} cm too high: the error may go either way.")

    def as_json(self) -> dict[str, object]:
        """The object that ``countersight threshold --json`` prints."""
        interval = self.interval_cm_h2o
        in_unit = [_round(convert(x, CM_H2O_CODE, self.setting_unit)) for x in interval or ()]
        return {
            "kind": "threshold",
            "status": "computed",
            "value": _round(convert(self.value_cm_h2o, CM_H2O_CODE, self.setting_unit)),
            "unit": self.setting_unit,
            "interval": in_unit or None,
            "coverage": self.coverage,
            "values": {CM_H2O_CODE: _round(self.value_cm_h2o),
                       MM_HG_CODE: _round(_mm_hg(self.value_cm_h2o))},
            "intervals": None if interval is None else {
                CM_H2O_CODE: [_round(x) for x in interval],
                MM_HG_CODE: [_round(_mm_hg(x)) for x in interval]},
            "setting": {CM_H2O_CODE: _round(self.setting_cm_h2o),
                        MM_HG_CODE: _round(_mm_hg(self.setting_cm_h2o))},
            "offset_cm": _round(self.offset_cm),
            "offset_interval_cm": None if self.offset_interval_cm is None
            else [_round(x) for x in self.offset_interval_cm],
            "direction": self.direction,
            "sentence": self.sentence,
            "cautions": list(CAUTIONS),
            "flags": [],
            "reasons": [] if interval is not None
            else ["No interval of the offset was given, so the threshold has none."],
            "budget": [t.as_json() for t in self.budget],
        }


def effective_threshold(
    setting: float, unit: str, offset_cm: float, *,
    offset_interval_cm: tuple[float, float] | None = None,
    setting_sd_cm: float = 0.0,
    liquid: Liquid = "csf", temperature_c: float = BODY_TEMPERATURE_C,
) -> Threshold:
    """The pressure at which the drain opens, seen from the landmark.

    ``setting`` in ``unit`` (cm[H2O] or mm[Hg], negative ones included),
    ``offset_cm`` with its 95 % interval, ``setting_sd_cm`` the standard
    uncertainty with which the pointer was read.  The interval's two halves may
    differ; each is combined with the other terms (JCGM 100:2008, equation 10).
    InputError for an impossible number.
    """
    code = unit_code(unit)
    set_cm = convert(float(setting), code, CM_H2O_CODE)
    require_finite(set_cm, "A setting", *SETTING_BOUNDS_CM_H2O, unit="cmH2O")
    require_finite(offset_cm, "An offset", *OFFSET_BOUNDS_CM, unit="cm")
    require_finite(setting_sd_cm, "An uncertainty of the setting", 0, 20, "cm")
    per_cm = float(column_cm_h2o(1.0, liquid, temperature_c))
    value = per_cm * (set_cm + offset_cm)
    other = _other_terms(set_cm + offset_cm, setting_sd_cm, liquid, temperature_c)
    spread = NORMAL_95**2 * sum(t.standard_uncertainty**2 for t in other)
    interval, terms = None, other
    if offset_interval_cm is not None:
        low, high = _checked_interval(offset_interval_cm, offset_cm)
        interval = (value - math.hypot(per_cm * (offset_cm - low), math.sqrt(spread)),
                    value + math.hypot(per_cm * (high - offset_cm), math.sqrt(spread)))
        offset_term = BudgetTerm(
            "height offset", per_cm * (high - low) / 2 / NORMAL_95, CM_H2O_CODE,
            "half the given 95 % interval / 1.96")
        terms = (offset_term, *other)
    return Threshold(set_cm, code, float(offset_cm), offset_interval_cm, value, interval,
                     _direction(offset_cm, offset_interval_cm), liquid, temperature_c, 0.95, terms)


@dataclass(frozen=True)
class SettingArithmetic:
    """What the panel would have to show for an ordered threshold at this offset."""

    ordered_cm_h2o: float
    offset_cm: float
    setting_cm_h2o: float

    @property
    def sentence(self) -> str:
        """The sum in words; it never asks anybody to do it."""
        return (f"Sum only: {number_text(self.ordered_cm_h2o)} cmH2O ordered, less the offset of "
                f"{number_text(self.offset_cm)} cm, is {both_units(self.setting_cm_h2o)} on the "
                "panel. An order is written for a system that hangs level; a setting is "
                "changed on order only.")


def setting_for_threshold(ordered: float, unit: str, offset_cm: float, *,
                          liquid: Liquid = "csf",
                          temperature_c: float = BODY_TEMPERATURE_C) -> SettingArithmetic:
    """The reverse sum: ordered threshold / (rho g) - offset.  Arithmetic, never advice."""
    ordered_cm = convert(float(ordered), unit_code(unit), CM_H2O_CODE)
    require_finite(ordered_cm, "An ordered threshold", *SETTING_BOUNDS_CM_H2O, unit="cmH2O")
    require_finite(offset_cm, "An offset", *OFFSET_BOUNDS_CM, unit="cm")
    height = height_for_pressure_cm(ordered_cm, liquid, temperature_c)
    return SettingArithmetic(ordered_cm, float(offset_cm), float(height) - float(offset_cm))


def _other_terms(height_cm: float, setting_sd_cm: float, liquid: Liquid,
                 temperature_c: float) -> tuple[BudgetTerm, ...]:
    """Everything but the offset, in cm[H2O]."""
    density = float(density_kg_m3(liquid, temperature_c))
    cool, warm = (float(density_kg_m3(liquid, t)) for t in (20.0, 37.0))
    density_u = math.hypot(density_sd_kg_m3(liquid), max(abs(cool - density), abs(warm - density))
                           / math.sqrt(3))
    gravity_u = LOCAL_GRAVITY_HALF_RANGE.value / math.sqrt(3) / STANDARD_GRAVITY.value
    column = abs(float(column_cm_h2o(height_cm, liquid, temperature_c)))
    terms = [
        BudgetTerm("density of the fluid", column * density_u / density, CM_H2O_CODE,
                   "of the fluid itself, and of a line between 20 and 37 degC"),
        BudgetTerm("local gravity", column * gravity_u, CM_H2O_CODE,
                   "anywhere between equator and pole"),
    ]
    if setting_sd_cm > 0:
        terms.append(BudgetTerm("setting read on the panel",
                                setting_sd_cm * float(column_cm_h2o(1.0, liquid, temperature_c)),
                                CM_H2O_CODE, "as given"))
    return tuple(terms)


def _checked_interval(interval: tuple[float, float], offset_cm: float) -> tuple[float, float]:
    low, high = (require_finite(x, "An end of the offset's interval", *OFFSET_BOUNDS_CM, unit="cm")
                 for x in interval)
    if not low <= offset_cm <= high:
        raise InputError(f"The offset of {offset_cm:g} cm does not lie in its interval "
                         f"{low:g} to {high:g} cm: check the three numbers.")
    return low, high


def _direction(offset_cm: float, interval: tuple[float, float] | None) -> Direction:
    """The whole interval decides, after JCGM 106:2012; without one the sign of the value."""
    low, high = interval or (offset_cm, offset_cm)
    if high < 0:
        return "too low"
    if low > 0:
        return "too high"
    return "level" if interval is None else "either way"


def _mm_hg(value_cm_h2o: float) -> float:
    return float(convert(value_cm_h2o, CM_H2O_CODE, MM_HG_CODE))


def _round(x: float) -> float:
    return round(float(x), 3) + 0.0

"""An order as a person typed it, and the question whether the unit is right.

Pure: no page, no database.  Nothing here suggests a value; a question names two
numbers that do not fit together and leaves the answer to the person.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Literal, get_args

from vision.errors import InputError
from vision.hydrostatics.units import (
    CM_H2O_CODE,
    MM_HG_CODE,
    PASCAL_PER,
    WORDS,
    both_units,
    convert,
    unit_code,
)

if TYPE_CHECKING:
    from app.records.drafts import OrderDraft

Drain = Literal["continuously", "by volume", "closed, measure only"]
DRAINS: tuple[Drain, ...] = get_args(Drain)

#: Thresholds outside this range are asked about, never refused.  Ordered settings
#: were 11 to 18 cmH2O in most units of a survey (Neurocrit Care 2017); negative
#: ones exist (Crit Care Nurse 2024;44:73).  The margin around them is our choice.
ORDINARY_CM_H2O = (-20.0, 40.0)

#: Ratios of two pressures that a slip of the unit makes: 1.36 by the wrong unit
#: or by converting twice, 13.6 by the millimetre of water, 10 by "1 mmHg = 13.6 cmH2O".
_RATIO = PASCAL_PER[MM_HG_CODE] / PASCAL_PER[CM_H2O_CODE]
SLIPS = (_RATIO, 10 * _RATIO, 10.0)
#: Orders are whole numbers, so a converted one is off by up to half a unit.
_RELATIVE = 0.03


@dataclass(frozen=True)
class LimitWords:
    """A limit that an order may name: the words of its field, its unit, and how it is said.

    ``ordinary`` is the range of what orders name; a number outside it is asked about,
    never refused (common practice, no source; an adult makes about 20 mL/h).
    """

    label: str
    unit: str
    phrase: str
    ordinary: tuple[Decimal, Decimal]

    def said(self, number: object) -> str:
        """The limit in a few words."""
        return self.phrase.format(number)


def _limit(label: str, unit: str, phrase: str, low: str, high: str) -> LimitWords:
    return LimitWords(label, unit, phrase, (Decimal(low), Decimal(high)))


#: The limits in the sequence in which an order is typed, confirmed and shown.
LIMITS: Mapping[str, LimitWords] = {
    "ml_per_hour": _limit("At most in an hour", "mL", "at most {} mL in an hour", "1", "60"),
    "ml_per_six_hours": _limit("At most in six hours", "mL", "at most {} mL in six hours", "5",
                               "240"),
    "ml_per_shift": _limit("At most in a shift", "mL", "at most {} mL in a shift", "5", "400"),
    "nothing_drained_hours": _limit("Nothing drained for", "h",
                                    "tell when nothing comes for {} h", "0.25", "12"),
    "chamber_full_ml": _limit("Empty the chamber at", "mL", "empty the chamber at {} mL", "5",
                              "200"),
    "reading_due_minutes": _limit("Read the chamber every", "min", "read every {} min", "5",
                                  "480"),
    "level_due_minutes": _limit("Check the level every", "min", "check the level every {} min",
                                "10", "1440"),
    "rate_from_minutes": _limit("No rate from readings closer than", "min",
                                "no rate from readings less than {} min apart", "5", "120"),
    "plausible_ml_per_hour": _limit("Ask about a rise faster than", "mL/h",
                                    "ask about a rise faster than {} mL/h", "20", "300"),
}
#: Upper limits of output, each for a longer time than the one before.
_GROWING = ("ml_per_hour", "ml_per_six_hours", "ml_per_shift")


def limits_question(limits: Mapping[str, Decimal]) -> str:
    """Ask about limits of an absurd size, or that contradict each other; "" when none does."""
    odd = []
    for name, words in LIMITS.items():
        low, high = words.ordinary
        if name in limits and not low <= limits[name] <= high:
            odd.append(f"{words.label.lower()} {limits[name]} {words.unit} is far from what orders "
                       f"usually say ({low} to {high} {words.unit})")
    named = [n for n in _GROWING if n in limits]
    for short, long in itertools.pairwise(named):
        if limits[short] > limits[long]:
            odd.append(f"{LIMITS[short].said(limits[short])} is more than "
                       f"{LIMITS[long].said(limits[long])}")
    if not odd:
        return ""
    text = "; ".join(odd)
    return f"{text[0].upper()}{text[1:]}. Look at the written order: is every number right?"


@dataclass(frozen=True)
class Order:
    """What the written order says.

    ``landmark`` in the order's own words; ``threshold`` in ``unit`` (cm[H2O] or
    mm[Hg]), negative ones included, None when the order names none; ``limits`` are
    the ward's numbers of :class:`vision.output.limits.Limits`; ``tell_whom`` as written.
    """

    landmark: str
    threshold: Decimal | None = None
    unit: str | None = None
    drain: Drain = "continuously"
    drain_volume: str = ""
    limits: Mapping[str, Decimal] = field(default_factory=dict)
    tell_whom: str = ""

    def __post_init__(self) -> None:
        if not self.landmark.strip():
            raise InputError("Type the landmark as the order names it: the tool never chooses one.")
        if (self.threshold is None) != (self.unit is None):
            raise InputError("A threshold needs its unit, cm[H2O] or mm[Hg], as it stands on the "
                             "order.")
        if self.unit is not None and self.unit not in (CM_H2O_CODE, MM_HG_CODE):
            raise InputError(f"'{self.unit}' is not a unit for a threshold: choose cm[H2O] or "
                             "mm[Hg], as it stands on the order.")
        if self.drain == "by volume" and not self.drain_volume.strip():
            raise InputError("The order drains by volume: type how much and how often, as written.")
        if self.drain not in DRAINS:
            raise InputError(f"Say how to drain: {', '.join(DRAINS)}.")

    @property
    def threshold_cm_h2o(self) -> float | None:
        """The threshold in cm[H2O]."""
        if self.threshold is None or self.unit is None:
            return None
        return float(convert(float(self.threshold), self.unit, CM_H2O_CODE))

    @property
    def sentence(self) -> str:
        """The whole order in words, in the sequence of its fields: landmark, threshold (as
        written and in both units), how to drain, whom to tell, every limit."""
        parts = [f"Landmark: {self.landmark.strip()}"]
        if self.threshold is not None and self.unit is not None:
            assert self.threshold_cm_h2o is not None
            parts.append(f"threshold {self.threshold} {WORDS[self.unit]} as written, "
                         f"that is {both_units(self.threshold_cm_h2o)}")
        how = self.drain + (f" ({self.drain_volume.strip()})" if self.drain_volume.strip() else "")
        parts.append(f"drain {how}" if self.drain != "closed, measure only" else how)
        tell = self.tell_whom.strip()
        parts.append(f"tell {tell}" if tell else "it names nobody to tell")
        parts += [words.said(self.limits[name]) for name, words in LIMITS.items()
                  if name in self.limits] or ["it names no limit"]
        return "; ".join(parts) + "."

    def draft(self) -> OrderDraft:
        """The draft that a person confirms for the record."""
        from app.records.drafts import OrderDraft

        how = self.drain + (f": {self.drain_volume.strip()}" if self.drain_volume.strip() else "")
        return OrderDraft(landmark=self.landmark, threshold=self.threshold, unit=self.unit,
                          drain=how, limits=dict(self.limits), tell_whom=self.tell_whom)


@dataclass(frozen=True)
class UnitQuestion:
    """Two numbers that look like a slip of the unit; ``sentence`` asks about them."""

    sentence: str
    ratio: float | None = None


def unit_question(value: float | Decimal, unit: str, *,
                  other_value: float | Decimal | None = None, other_unit: str | None = None,
                  other_name: str = "order before") -> UnitQuestion | None:
    """Ask whether the unit is right, or None when nothing speaks against it.

    ``value`` in ``unit`` was typed; ``other_value`` in ``other_unit`` is what it can
    be compared with: the order before, the panel's setting, or a second number
    written beside the first.  A question is raised when the two pressures differ
    by 1.36, 10 or 13.6 times, or when a number stands far outside ordinary orders.
    """
    code, typed = unit_code(unit), float(value)
    here = convert(typed, code, CM_H2O_CODE)
    if other_value is not None and other_unit is not None:
        other_code, other = unit_code(other_unit), float(other_value)
        there = convert(other, other_code, CM_H2O_CODE)
        slip = _slip(here, there, typed, code, other, other_code)
        if slip is not None:
            return UnitQuestion(
                f"You typed {_both(typed, code)}. The {other_name} says "
                f"{_both(other, other_code)}. The two differ {slip:.3g} times, as after a "
                "mixed-up unit. Look at the written order: are number and unit right?", slip)
    low, high = ORDINARY_CM_H2O
    if not low <= here <= high:
        return UnitQuestion(
            f"{_both(typed, code)} is far from what orders usually say. Look at the written "
            "order: are number and unit right?")
    return None


def _slip(here: float, there: float, typed: float, code: str, other: float,
          other_code: str) -> float | None:
    """The ratio, when it is one that a mixed-up unit makes."""
    if here == 0 or there == 0 or (here < 0) != (there < 0):
        return None
    large, small = sorted((abs(here), abs(there)), reverse=True)
    ratio = large / small
    rounding = 0.5 * max(PASCAL_PER[code] / PASCAL_PER[CM_H2O_CODE] / abs(here),
                         PASCAL_PER[other_code] / PASCAL_PER[CM_H2O_CODE] / abs(there))
    whole = typed == round(typed) and other == round(other)
    allowed = max(_RELATIVE, min(rounding, 0.1) if whole else 0.0)
    near = [s for s in SLIPS if abs(ratio / s - 1) <= allowed]
    return ratio if near else None


def _both(value: float, code: str) -> str:
    other = MM_HG_CODE if code == CM_H2O_CODE else CM_H2O_CODE
    return f"{value:g} {WORDS[code]} (= {convert(value, code, other):.3g} {WORDS[other]})"

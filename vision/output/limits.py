"""Local limits: the ward's own numbers per bed.

No limit on what drains is built in.  Two numbers only steer what this program says
or asks; each has a value of our own, shown as such, until the ward's order names one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from vision.errors import InputError

#: Between readings less than this many minutes apart no rate is shown or judged (our
#: choice): half a division of doubt in each of two readings, that is 0.7 mL at 1 mL a
#: division, is 3 mL/h over 15 min and 42 mL/h over one.
RATE_FROM_MINUTES = Decimal(15)
#: A rise faster than this is asked about before it goes on record (our choice): three
#: times the 20 mL/h that an adult makes (hospital guidelines; estimates differ widely,
#: Liu et al., Fluids Barriers CNS 2022;19:101).
PLAUSIBLE_ML_PER_HOUR = Decimal(60)


@dataclass(frozen=True)
class Limits:
    """What the ward's orders name for one bed; None = not named, then never checked.

    ``ml_per_hour``, ``ml_per_six_hours`` and ``ml_per_shift`` are upper limits of
    output in mL; ``nothing_drained_hours`` is how long an open drain may give
    nothing; ``chamber_full_ml`` is the fill at which the ward empties the chamber;
    ``reading_due_minutes`` and ``level_due_minutes`` are how old the last reading
    and the last level check may become.

    ``rate_from_minutes`` and ``plausible_ml_per_hour`` stand for RATE_FROM_MINUTES and
    PLAUSIBLE_ML_PER_HOUR where they are not named.
    """

    ml_per_hour: Decimal | None = None
    ml_per_six_hours: Decimal | None = None
    ml_per_shift: Decimal | None = None
    nothing_drained_hours: Decimal | None = None
    chamber_full_ml: Decimal | None = None
    reading_due_minutes: Decimal | None = None
    level_due_minutes: Decimal | None = None
    rate_from_minutes: Decimal | None = None
    plausible_ml_per_hour: Decimal | None = None


LIMIT_NAMES = tuple(f.name for f in fields(Limits))


def limits_from(given: Mapping[str, Any]) -> Limits:
    """Limits from a mapping of names to decimals (or their text).

    Raises InputError for an unknown name or a limit that is not above zero.
    """
    values: dict[str, Decimal] = {}
    for name, value in given.items():
        if name not in LIMIT_NAMES:
            raise InputError(f"'{name}' is no limit; there are {', '.join(LIMIT_NAMES)}.")
        if value is None:
            continue
        try:
            number = Decimal(str(value))
        except ArithmeticError:
            raise InputError(f"The limit '{name}' must be a number.") from None
        if not number.is_finite() or number <= 0:
            raise InputError(f"The limit '{name}' must be above zero.")
        values[name] = number
    return Limits(**values)

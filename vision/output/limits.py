"""Local limits: the ward's own numbers per bed.  There is no built-in value for any."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from vision.errors import InputError


@dataclass(frozen=True)
class Limits:
    """What the ward's orders name for one bed; None = not named, then never checked.

    ``ml_per_hour``, ``ml_per_six_hours`` and ``ml_per_shift`` are upper limits of
    output in mL; ``nothing_drained_hours`` is how long an open drain may give
    nothing; ``chamber_full_ml`` is the fill at which the ward empties the chamber;
    ``reading_due_minutes`` and ``level_due_minutes`` are how old the last reading
    and the last level check may become.
    """

    ml_per_hour: Decimal | None = None
    ml_per_six_hours: Decimal | None = None
    ml_per_shift: Decimal | None = None
    nothing_drained_hours: Decimal | None = None
    chamber_full_ml: Decimal | None = None
    reading_due_minutes: Decimal | None = None
    level_due_minutes: Decimal | None = None


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

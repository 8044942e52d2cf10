"""When a difference of two readings cannot be an output, ask; never hide it, never guess."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from vision.output.covariance import difference_uncertainty, scale_correlation
from vision.output.model import K95, ChamberEvent, ChamberReading, Question


def difference_question(difference: Decimal, first: ChamberReading, last: ChamberReading | None,
                         events: Sequence[ChamberEvent], number: int) -> Question | None:
    """A question when the chamber lost more than the readings' uncertainty allows."""
    if difference >= 0:
        return None
    other = last or first
    us = [math.hypot(r.u_reading_ml, r.scale_error_ml / math.sqrt(3)) for r in (first, other)]
    shared = first.scale_error_ml * other.scale_error_ml / 3
    r = 0.0
    if us[0] > 0 and us[1] > 0 and first.scale == other.scale:
        r = shared / (us[0] * us[1]) * scale_correlation(float(difference), first.division_ml)
    if -float(difference) <= K95 * difference_uncertainty(us[0], us[1], r):
        return None
    named = "no emptying is on record" if not any(
        e.name == "chamber-emptied" for e in events) else "the emptying on record does not fit"
    return Question(
        "negative",
        f"The chamber held {-difference:f} mL less than before and {named}. Was it emptied, was "
        "something drawn from it, was the outlet open, or is one of the values wrong?",
        (first.number, number))

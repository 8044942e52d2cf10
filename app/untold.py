"""Which of the order's limits on output were passed without a telling on record.  Pure: no page."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from app.records.shift import BedAccount, told
from vision.output import Finding

#: What happened before is left out, but for what still holds (our choice: two shifts).
LOOK_BACK = timedelta(hours=24)

#: The limits on how much, or how little, drains: passing one is to be told to somebody.
OUTPUT_LIMITS = ("ml_per_hour", "ml_per_six_hours", "ml_per_shift", "nothing_drained_hours")


def untold(found: Iterable[Finding], bed: BedAccount, at: datetime
           ) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """(of the last result, of results before it within ``LOOK_BACK`` of ``at``): of neither is a
    telling on record."""
    last = bed.account.result
    over = [f for f in found if f.verdict == "over" and f.limit in OUTPUT_LIMITS
            and told(f, bed.standings) is None]
    now = tuple(f for f in over if last is None or f.at >= last.end)
    return now, tuple(f for f in over if f not in now and f.at >= at - LOOK_BACK)

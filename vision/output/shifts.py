"""Shifts of the ward: local starting times, also across midnight and clock changes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from vision.errors import InputError
from vision.output.account import Account
from vision.output.model import fixed
from vision.output.windows import WindowTotal, window_total

#: Where a ward has not set its own: two shifts of twelve hours (common practice, no source).
USUAL_STARTS = (time(7), time(19))


@dataclass(frozen=True)
class ShiftPlan:
    """When the ward's shifts start by the wall clock of ``zone``, in order of the day.

    ``zone`` None is the zone of this machine, with its clock changes.
    """

    starts: tuple[time, ...] = USUAL_STARTS
    zone: tzinfo | None = None

    def __post_init__(self) -> None:
        if not self.starts or sorted(set(self.starts)) != list(self.starts):
            raise InputError("Shift starts must be different times of the day, in order.")

    @property
    def words(self) -> str:
        """The starts as they are typed."""
        return ", ".join(f"{t:%H:%M}" for t in self.starts)

    def bounds(self, start: datetime, end: datetime) -> tuple[tuple[datetime, datetime], ...]:
        """(start, end) of every shift that overlaps the stretch; lengths are 11 or 13
        hours where the clocks change in a 12 h shift."""
        day = start.astimezone(self.zone).date() - timedelta(days=1)
        last = end.astimezone(self.zone).date() + timedelta(days=2)
        marks: list[datetime] = []
        while day <= last:
            marks += [fixed(datetime.combine(day, t, self.zone).astimezone(self.zone))
                      for t in self.starts]
            day += timedelta(days=1)
        return tuple((a, b) for a, b in zip(marks, marks[1:], strict=False)
                     if b > start and a < end)


def parse_starts(text: str) -> tuple[time, ...]:
    """Starts from text such as "07:00,19:00"; InputError."""
    try:
        return tuple(time.fromisoformat(part.strip()) for part in text.split(","))
    except ValueError:
        raise InputError(f"Shift starts look like 07:00,19:00, not '{text}'.") from None


def shift_totals(account: Account, plan: ShiftPlan, now: datetime | None = None
                 ) -> tuple[WindowTotal, ...]:
    """The total of every shift from the first reading to the last (or to ``now``); the
    shift that is not over yet ends at that moment."""
    if not account.readings:
        return ()
    first = account.readings[0].at
    last = max([i.end for i in account.intervals] or [first])
    until = fixed(now) if now is not None else last
    return tuple(window_total(account, a, min(b, until) if now is not None else b)
                 for a, b in plan.bounds(first, max(until, first)))

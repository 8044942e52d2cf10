"""A moment as the ward sees it: UTC for arithmetic, the local offset for people."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

from app.records.errors import ConfirmError

_MAX_OFFSET_MIN = 14 * 60  # UTC+14 is the largest civil offset in use; UTC-12 the smallest
#: Years of four digits whose every local time exists in the calendar of Python, too.
_YEARS = 1000, 9998
_WRONG_YEAR = "There is no such year on record; check the date."


@dataclass(frozen=True, order=True)
class Moment:
    """``utc`` is an aware datetime in UTC; ``offset_min`` is local time minus UTC in minutes.

    Moments compare and order by ``utc`` first, so an hour repeated when the
    clocks go back stays in order.
    """

    utc: datetime
    offset_min: int = 0

    def __post_init__(self) -> None:
        if self.utc.tzinfo is None or self.utc.utcoffset() != timedelta(0):
            raise ConfirmError("A moment must be given in UTC with its local offset.")
        if not _YEARS[0] <= self.utc.year <= _YEARS[1]:
            raise ConfirmError(_WRONG_YEAR)
        if abs(self.offset_min) > _MAX_OFFSET_MIN:
            raise ConfirmError("The local time is more than 14 hours away from UTC.")

    @classmethod
    def now(cls) -> Moment:
        """This machine's clock, to the millisecond, with its present local offset."""
        return cls.of(datetime.now().astimezone())

    @classmethod
    def of(cls, when: datetime) -> Moment:
        """From an aware datetime; a naive one is refused because its zone is unknown."""
        offset = when.utcoffset()
        if offset is None:
            raise ConfirmError("A time without a time zone cannot be put on record.")
        try:
            utc = when.astimezone(UTC)
        except OverflowError:
            raise ConfirmError(_WRONG_YEAR) from None
        utc = utc.replace(microsecond=utc.microsecond // 1000 * 1000)
        return cls(utc, round(offset.total_seconds() / 60))

    @classmethod
    def parse(cls, utc_text: str, offset_min: int) -> Moment:
        """The inverse of :attr:`utc_text`."""
        return cls(datetime.fromisoformat(utc_text).astimezone(UTC), offset_min)

    @property
    def utc_text(self) -> str:
        """ISO 8601 in UTC with milliseconds and Z; sorts as text."""
        return self.utc.strftime("%Y-%m-%dT%H:%M:%S.") + f"{self.utc.microsecond // 1000:03d}Z"

    @property
    def local(self) -> datetime:
        """The wall clock at the bedside, as an aware datetime."""
        return self.utc.astimezone(timezone(timedelta(minutes=self.offset_min)))

    @property
    def local_text(self) -> str:
        """ISO 8601 local time with offset, to the second."""
        return self.local.isoformat(timespec="seconds")

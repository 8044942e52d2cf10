"""A time as people type it at the bedside; never guessed where two readings are possible."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

from app.records import ConfirmError, Moment

_TYPED = re.compile(r"(?:(\d{4}-\d{2}-\d{2})[ T])?(\d{1,2})[:.](\d{2})(?: ?([+-]\d{2}:\d{2}))?")
_SLACK = timedelta(minutes=1)

HOW = "Type a time as 14:05, or with its date as 2026-03-02 14:05."


def typed_moment(text: str, now: datetime) -> Moment | None:
    """The moment meant by ``text``; None for an empty field (which means now).

    ``now`` is an aware datetime in the ward's zone.  A bare time is one of today.
    Raises ConfirmError for anything else than a time, a time to come, and for the
    hour that the wall clock skips or shows twice when the clocks are changed.
    """
    plain = " ".join(text.split())
    if not plain:
        return None
    match = _TYPED.fullmatch(plain)
    if match is None:
        raise ConfirmError(HOW)
    day, hour, minute, offset = match.groups()
    try:
        on = date.fromisoformat(day) if day else now.date()
        wall = datetime(on.year, on.month, on.day, int(hour), int(minute))
        if offset:
            when = datetime.fromisoformat(f"{wall:%Y-%m-%dT%H:%M}{offset}")
        else:
            when = _of_the_ward(wall, now)
    except (ValueError, OverflowError, OSError):  # no such day, or none that a clock can show
        raise ConfirmError(HOW) from None
    if when > now + _SLACK:
        more = "" if day else "; if it was yesterday, type the date too"
        raise ConfirmError(f"{plain} has not come yet{more}.")
    return Moment.of(when)


def _of_the_ward(wall: datetime, now: datetime) -> datetime:
    """The wall clock's time in the zone of ``now``: a named zone, or this machine's."""
    zone = now.tzinfo if hasattr(now.tzinfo, "key") else None

    def at(fold: int) -> datetime:
        naive = wall.replace(fold=fold)
        return naive.astimezone() if zone is None else naive.replace(tzinfo=zone)

    first, second = at(0), at(1)
    if first.utcoffset() == second.utcoffset():
        return first
    # The clocks were changed around this hour.  Through UTC and back, another wall
    # time comes out for one that was skipped.
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != wall:
        raise ConfirmError(f"{wall:%Y-%m-%d %H:%M} did not exist: the clocks went forward then.")
    both = " or ".join(m.isoformat(sep=" ", timespec="minutes") for m in (first, second))
    raise ConfirmError(f"{wall:%H:%M} came twice that day: the clocks went back. Type it with its "
                       f"offset: {both}.")

"""Times as they are typed: today's, with a date, in the hours when the clocks change."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from app.records import ConfirmError
from app.ui.shift.moments import typed_moment

WARD = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 3, 2, 15, 30, tzinfo=WARD)


@pytest.mark.parametrize(("text", "utc"), [
    ("14:05", "2026-03-02T13:05"), ("9:07", "2026-03-02T08:07"), ("14.05", "2026-03-02T13:05"),
    ("15:31", "2026-03-02T14:31"), (" 2026-03-01  23:59 ", "2026-03-01T22:59"),
    ("2025-07-01T08:00", "2025-07-01T06:00"), ("2026-03-02 14:05 +00:00", "2026-03-02T14:05"),
])
def test_times_that_are_understood(text, utc):
    assert typed_moment(text, NOW).utc_text.startswith(utc)


def test_an_empty_field_means_now():
    assert typed_moment("  ", NOW) is None


@pytest.mark.parametrize("text", ["ten", "25:00", "14:60", "1405", "2026-13-01 10:00", "14:05 pm",
                                  "2026-02-29 10:00", "14:05 +99:00", "02/03/2026 14:05"])
def test_what_is_no_time_is_answered(text):
    with pytest.raises(ConfirmError, match="Type a time as 14:05"):
        typed_moment(text, NOW)


@pytest.mark.parametrize("text", ["0001-01-01 00:00", "9999-12-31 23:59-14:00",
                                  "9999-12-31 23:59", "0001-01-01 00:00+14:00"])
@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Pago_Pago"])
def test_the_ends_of_the_calendar_are_answered(text, zone):
    with pytest.raises(ConfirmError):
        typed_moment(text, NOW.astimezone(ZoneInfo(zone)))


def test_a_time_to_come_asks_for_the_date():
    with pytest.raises(ConfirmError, match="yesterday"):
        typed_moment("23:50", NOW)
    with pytest.raises(ConfirmError, match="has not come yet[.]"):
        typed_moment("2026-03-02 23:50", NOW)


def test_the_hour_that_is_skipped_and_the_hour_that_comes_twice():
    """Clock changes of the European Union: last Sundays of March and October, 01:00 UTC
    (Directive 2000/84/EC, articles 2 and 3)."""
    later = datetime(2026, 12, 1, 12, 0, tzinfo=WARD)
    with pytest.raises(ConfirmError, match="did not exist"):
        typed_moment("2026-03-29 02:30", later)
    with pytest.raises(ConfirmError, match=r"02:30\+02:00 or 2026-10-25 02:30\+01:00"):
        typed_moment("2026-10-25 02:30", later)
    assert typed_moment("2026-10-25 02:30+02:00", later).utc_text.startswith("2026-10-25T00:30")
    assert typed_moment("2026-10-25 02:30 +01:00", later).utc_text.startswith("2026-10-25T01:30")
    assert typed_moment("2026-10-25 03:30", later).utc_text.startswith("2026-10-25T02:30")

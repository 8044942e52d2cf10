"""What hour is said on the night on which the clocks change."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta, timezone

import pytest

from vision.output.model import hm, hm_ahead, later

#: Central Europe, 25 October 2026: at 03:00 summer time the clocks go back to 02:00
#: (Directive 2000/84/EC), 01:00 UTC.
BERLIN = "CET-1CEST,M3.5.0,M10.5.0/3"
BEFORE = datetime(2026, 10, 25, 0, 40, tzinfo=UTC)  # 02:40, the first time
AFTER = datetime(2026, 10, 25, 1, 25, tzinfo=UTC)  # 02:25, the second time


@pytest.fixture
def berlin(monkeypatch):
    if not hasattr(time, "tzset"):
        pytest.skip("This system keeps its zone to itself.")
    monkeypatch.setenv("TZ", BERLIN)
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_what_is_due_is_said_by_the_clock_that_shows_then(berlin):
    """A reading of 02:40 summer time is due an hour later at 02:40, not at 03:40."""
    due = later(BEFORE.astimezone(), timedelta(hours=1))
    assert f"{due:%H:%M}" == "02:40" and due - BEFORE == timedelta(hours=1)
    assert hm_ahead(due, AFTER.astimezone()) == "02:40"
    assert hm_ahead(due, BEFORE.astimezone()) == "02:40 (new time)"
    spring = datetime(2026, 3, 29, 0, 30, tzinfo=UTC).astimezone()
    assert f"{spring:%H:%M} {later(spring, timedelta(hours=1)):%H:%M}" == "01:30 03:30"
    assert f"{later(spring, -timedelta(hours=6)):%H:%M}" == "19:30"


def test_an_hour_that_stands_twice_in_the_day_says_which_one(berlin):
    now = AFTER.astimezone()
    assert hm(BEFORE.astimezone(), now) == "02:40 (old time)"
    assert hm(now, now) == "02:25"
    assert hm(BEFORE.astimezone(), now + timedelta(days=2)) == "2026-10-25 02:40"


def test_moments_of_another_zone_keep_theirs(berlin):
    far = BEFORE.astimezone(timezone(timedelta(hours=-5)))
    assert later(far, timedelta(hours=1)).utcoffset() == timedelta(hours=-5)
    assert hm(far, AFTER.astimezone(timezone(timedelta(hours=-4)))) == "19:40"

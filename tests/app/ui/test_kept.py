"""What waits for a browser: its own alone, and not for ever."""

from __future__ import annotations

import pytest

from app.ui import kept


class Clock:
    """A clock and a browser to be set by hand."""

    now_s, browser = 1000.0, "one"


@pytest.fixture
def clock(monkeypatch):
    clock = Clock()
    monkeypatch.setattr(kept, "_things", {})
    monkeypatch.setattr(kept, "_browser", lambda: clock.browser)
    monkeypatch.setattr(kept.time, "monotonic", lambda: clock.now_s)
    return clock


def test_a_browser_finds_its_own_again_and_no_other_does(clock):
    mine = kept.of_browser("round QUAY-3", list)
    assert kept.of_browser("round QUAY-3", list) is mine
    assert kept.of_browser("round QUAY-4", list) is not mine
    clock.browser = "two"
    assert kept.of_browser("round QUAY-3", list) is not mine


def test_it_goes_when_nobody_came_back_for_it(clock):
    mine = kept.of_browser("round QUAY-3", list)
    clock.now_s += kept.SESSION_WAITS_S - 1
    assert kept.of_browser("round QUAY-3", list) is mine
    clock.now_s += kept.SESSION_WAITS_S + 1
    kept.forget_old(clock.now_s)
    assert kept._things == {}


def test_initials_are_those_of_the_last_press_at_this_device_for_a_while(clock):
    kept.remember_initials("K.T.")
    clock.now_s += 3600  # the next hourly round
    assert kept.initials() == "K.T."
    clock.browser = "two"
    assert kept.initials() == ""
    clock.browser = "one"
    clock.now_s += kept.INITIALS_WAIT_S + 1
    assert kept.initials() == "", "after so long nobody is guessed"


def test_a_shift_is_over_once(clock):
    kept.remember_initials("K.T.")
    for _ in range(12):
        clock.now_s += 3600
        assert kept.initials() == "K.T."
        kept.remember_initials("K.T.")
    clock.now_s += 3600
    assert kept.initials() == ""


def test_not_you_forgets_at_once(clock):
    kept.remember_initials("K.T.")
    kept.remember_initials("")
    assert kept.initials() == ""

"""A look at the last hours still knows what was settled before them."""

from __future__ import annotations

import pytest
from records_help import BED, BY, at, clock, happening, reading

from app.records import LevelDraft, SettingDraft, Store, confirm
from app.records.shift import bed_account, level_state


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path)


def test_a_drain_closed_before_the_window_is_still_closed(store):
    """Shown as open, fluid that came would raise no question."""
    store.add(happening("drain-opened", 0))
    store.add(happening("drain-closed", 10))
    store.add(reading("10", 70))
    store.add(reading("30", 130))
    for since in (None, at(60).utc):
        (question,) = bed_account(store, BED, since=since).account.questions
        assert question.kind == "came-while-closed"


def test_opened_within_the_window_it_was_closed_until_then(store):
    """By hand: closed 60 to 100, open 100 to 130 min: half an hour."""
    store.add(happening("drain-closed", 10))
    store.add(reading("10", 60))
    store.add(happening("drain-opened", 100))
    store.add(reading("12", 130))
    (interval,) = bed_account(store, BED, since=at(50).utc).account.intervals
    assert interval.open_hours == pytest.approx(0.5)


def test_the_last_level_check_and_a_move_before_the_window_are_known(store):
    store.add(confirm(LevelDraft.usual_method(), by=BY, bed=BED, clock=clock(0)))
    look = level_state(bed_account(store, BED, since=at(60).utc).standings, at(90).utc)
    assert not look.stale and "08:00" in look.sentence
    store.add(happening("position-changed", 20))
    look = level_state(bed_account(store, BED, since=at(60).utc).standings, at(90).utc)
    assert look.stale and "08:20" in look.sentence


def test_nothing_else_comes_from_before_the_window(store):
    store.add(confirm(SettingDraft("cm[H2O]"), by=BY, bed=BED, confirmed_value="9",
                      clock=clock(0)))
    store.add(confirm(SettingDraft("cm[H2O]"), by=BY, bed=BED, confirmed_value="10",
                      clock=clock(5)))
    store.add(happening("bag-changed", 6))
    store.add(reading("10", 7))
    store.add(reading("12", 70))
    bed = bed_account(store, BED, since=at(60).utc)
    assert [s.original.number for s in bed.standings] == [2, 5]
    assert bed.account.intervals == ()

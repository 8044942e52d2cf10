"""The chamber page's note on the level: it holds, or something moved since, or it is too old."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from records_help import LOW
from streamlit.testing.v1 import AppTest

from app.records import (
    BedCode,
    EventDraft,
    Initials,
    LevelDraft,
    Moment,
    OrderDraft,
    Store,
    confirm,
)

SCRIPT = "from app.ui.level_note import level_note\nlevel_note('QUAY-3')\n"


@pytest.fixture
def on_record(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    store = Store.open(str(tmp_path / "ward"))

    def add(draft, minutes_ago: float, bed: str = "QUAY-3", value=None):
        store.add(confirm(draft, by=Initials("R.T."), bed=BedCode(bed), confirmed_value=value,
                          happened_at=Moment.of(datetime.now(UTC).astimezone()
                                                - timedelta(minutes=minutes_ago))))
    return add


def note() -> str:
    at = AppTest.from_string(SCRIPT, default_timeout=30).run()
    assert not at.exception
    return "\n".join(str(getattr(n, "proto", "")) + str(getattr(n, "value", ""))
                     for n in at.main.children.values())


def test_without_a_level_check_there_is_no_note(on_record):
    assert "level" not in note()


def test_a_level_check_holds(on_record):
    on_record(LevelDraft.usual_method(), 20)
    text = note()
    assert "The last level check is of" in text and "stale" not in text


@pytest.mark.slow
def test_a_change_of_position_makes_it_stale_until_it_is_checked_again(on_record):
    on_record(LevelDraft.usual_method(), 40)
    on_record(EventDraft("position-changed"), 20)
    text = note()
    assert "The level check is stale" in text and "Check the level again." in text
    on_record(LevelDraft.usual_method(), 5)
    assert "stale" not in note()


def test_a_change_of_position_at_another_bed_changes_nothing(on_record):
    on_record(LevelDraft.usual_method(), 40)
    on_record(EventDraft("position-changed"), 20, bed="QUAY-4")
    assert "stale" not in note()


def test_the_order_s_own_time_makes_it_stale(on_record):
    on_record(OrderDraft(landmark="ear canal", threshold="10", unit="cm[H2O]",
                         limits={"level_due_minutes": "30"}), 90)
    on_record(LevelDraft.usual_method(), 40)
    assert "your limit is 30 min" in note()


def test_a_level_that_was_found_off_does_not_hold(on_record):
    on_record(LevelDraft.of(LOW), 20, value="-4.6")
    text = note()
    assert "The drain does not hang level" in text and "hangs 4.6 cm too low" in text

"""A round under way: what the record and the file say together, and what a fault does."""

from __future__ import annotations

import datetime as dt
import json
import os
from decimal import Decimal

import pytest

from app.records import (
    Attestations,
    BedCode,
    EventDraft,
    Initials,
    LevelDraft,
    Moment,
    OwnReading,
    ReadingDraft,
    SettingDraft,
    SkipDraft,
    Store,
    confirm,
)
from app.rounds import (
    REST,
    STEPS,
    Round,
    RoundBook,
    RoundError,
    current_step,
    entry_of,
    next_due,
    progress,
    timer,
)
from app.setting_compare import compare_setting
from vision.scale_file.scale import load_scale

BED = BedCode("QUAY-3")
AT = Moment(dt.datetime(2026, 3, 1, 13, 5, tzinfo=dt.UTC), 60)  # 14:05 on the ward's clock


def later(minutes: float) -> Moment:
    return Moment(AT.utc + dt.timedelta(minutes=minutes), AT.offset_min)


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path / "ward")


def add(store, draft, value=None, **more):
    return store.add(confirm(draft, by=Initials("M.K."), bed=BED, confirmed_value=value, **more))


def read(store, value="23.4"):
    true = Attestations(outlet_closed=True, hanging_plumb=True, patient_undisturbed=True,
                        right_chamber_and_scale=True)
    return add(store, ReadingDraft.by_eye(scale=load_scale("quay-60"),
                                          first=OwnReading.read(value)), value, attestations=true)


def how(round_, store):
    return {s.name: s.status for s in progress(round_, store.current(BED))}


def test_what_is_on_record_before_the_round_counts_for_nothing_in_it(store):
    add(store, LevelDraft.usual_method())
    read(store)
    round_ = Round.begin(BED, AT, store.count())
    assert set(how(round_, store).values()) == {"open"}
    add(store, LevelDraft.usual_method())
    assert how(round_, store)["level"] == "done"
    assert current_step(progress(round_, store.current(BED))) == "setting"


def test_every_step_is_told_by_its_own_entry(store):
    round_ = Round.begin(BED, AT, store.count())
    add(store, LevelDraft.usual_method())
    add(store, SettingDraft(unit="cm[H2O]"), "13.6")
    add(store, EventDraft("drain-opened"))
    round_ = round_.collecting(AT, 60).collected(later(58), store.count())
    reading = read(store)
    round_ = round_.with_seen("output")
    add(store, EventDraft("chamber-emptied", before_ml="23.4", after_ml="0"))
    states = progress(round_, store.current(BED))
    assert [s.status for s in states] == ["done"] * len(STEPS)
    assert current_step(states) is None and entry_of(states, "read") == reading.number


def test_a_reading_while_it_still_collected_is_not_the_reading_of_the_round(store):
    round_ = Round.begin(BED, AT, store.count()).collecting(AT, 60)
    read(store, "10")
    round_ = round_.collected(later(60), store.count())
    assert how(round_, store)["read"] == "open"
    read(store, "23.4")
    assert how(round_, store)["read"] == "done"


def test_an_emptying_before_the_reading_does_not_end_the_round(store):
    round_ = Round.begin(BED, AT, store.count())
    add(store, EventDraft("chamber-emptied", before_ml="50", after_ml="0"))
    read(store)
    assert how(round_, store)["empty"] == "open"


def test_a_chamber_that_was_not_emptied_is_not_said_to_be(store):
    round_ = Round.begin(BED, AT, store.count()).with_seen("empty").with_seen("output")
    said = {s.name: s.sentence for s in progress(round_, store.current(BED))}
    assert said["empty"] == "Emptying the chamber: not emptied in this round"
    assert said["output"] == "Output and totals: done"
    add(store, EventDraft("chamber-emptied", before_ml="23.4", after_ml="0"))
    assert "done" in progress(round_, store.current(BED))[-1].sentence


def test_a_skipped_step_says_so_with_its_reason(store):
    round_ = Round.begin(BED, AT, store.count())
    add(store, SkipDraft(STEPS["level"], "patient in theatre"))
    first = progress(round_, store.current(BED))[0]
    assert (first.status, first.reason) == ("skipped", "patient in theatre")
    assert "SKIPPED" in first.sentence and "patient in theatre" in first.sentence


def test_breaking_off_skips_what_is_open_and_only_that(store):
    round_ = Round.begin(BED, AT, store.count())
    add(store, LevelDraft.usual_method())
    add(store, SkipDraft(REST, "emergency next door"))
    found = how(round_, store)
    assert found["level"] == "done" and set(list(found.values())[1:]) == {"skipped"}


def test_a_withdrawn_entry_opens_its_step_again(store):
    round_ = Round.begin(BED, AT, store.count())
    entry = add(store, LevelDraft.usual_method())
    store.add(confirm(entry.withdrawal("wrong bed"), by=Initials("M.K."), bed=BED))
    assert how(round_, store)["level"] == "open"


def test_the_timer_goes_by_the_clock_and_not_by_the_page():
    round_ = Round.begin(BED, AT, 0).collecting(AT, 60)
    assert timer(round_, later(12)).sentence == (
        "Collecting since 14:05: 12 min so far. Read at 15:05, in 48 min.")
    assert "Time is up since 15:05" in timer(round_, later(61)).sentence
    assert timer(round_, later(-3)).passed == dt.timedelta(0)  # a clock set back
    assert timer(round_.collected(later(60), 4), later(61)) is None


def test_a_second_press_does_not_move_the_end_of_collecting():
    once = Round.begin(BED, AT, 0).collecting(AT, 60).collected(later(60), 4)
    assert once.collected(later(75), 9) == once


@pytest.mark.parametrize("minutes", [0, -5, 24 * 60 + 1])
def test_impossible_times_are_refused(minutes):
    with pytest.raises(RoundError, match="minutes"):
        Round.begin(BED, AT, 0).collecting(AT, minutes)


def test_the_next_reading_is_due_by_the_order_else_hourly():
    at, why = next_due(AT, Decimal(30))
    assert (f"{at.local:%H:%M}", "your order" in why) == ("14:35", True)
    at, why = next_due(AT, None)
    assert (f"{at.local:%H:%M}", "common practice" in why) == ("15:05", True)


# --- the file

def test_a_round_comes_back_as_it_was_kept(tmp_path):
    book = RoundBook(tmp_path / "rounds")
    round_ = Round.begin("A/B 3", AT, 17, "K.T.")
    book.begin(round_)
    round_ = round_.collecting(later(2), 45).collected(later(47), 20).with_seen("output")
    book.keep(round_)
    assert RoundBook(tmp_path / "rounds").get("A/B 3") == round_
    assert RoundBook(tmp_path / "rounds").all() == (round_,)
    book.close("A/B 3")
    assert book.get("A/B 3") is None and list((tmp_path / "rounds").iterdir()) == []


def test_the_file_holds_no_value_and_no_photo(tmp_path):
    book = RoundBook(tmp_path)
    book.begin(Round.begin("QUAY-3", AT, 0).collecting(AT, 60))
    (path,) = tmp_path.glob("*.json")
    assert set(json.loads(path.read_text())) == {
        "format", "id", "bed", "began", "after", "collect_since", "collect_minutes",
        "collect_until", "collect_after", "seen", "by"}
    assert path.stat().st_mode & 0o077 == 0 or os.name == "nt"


def test_one_round_at_a_bed_and_no_round_over_another(tmp_path):
    book = RoundBook(tmp_path)
    mine = Round.begin(BED, AT, 0)
    book.begin(mine)
    with pytest.raises(RoundError, match="under way"):
        book.begin(Round.begin(BED, later(1), 0))
    book.close(BED)
    with pytest.raises(RoundError, match="load the page again"):
        book.keep(mine.with_seen("output"))
    book.begin(Round.begin(BED, later(2), 0))
    with pytest.raises(RoundError, match="load the page again"):
        book.keep(mine.with_seen("output"))


@pytest.mark.parametrize("content", [
    "", "{", "null", "[]", "{}", '{"format": 2}', '{"format": 1, "began": null}', "\x00",
    json.dumps({"format": 1, "id": "a", "bed": "X", "began": ["x", 0], "after": 1,
                "collect_since": None, "collect_minutes": None, "collect_until": None,
                "collect_after": None, "seen": []}),
    json.dumps({"format": 1, "id": "a", "bed": "OTHER", "after": 1, "seen": [],
                "began": ["2026-03-01T13:05:00.000Z", 0], "collect_since": None,
                "collect_minutes": None, "collect_until": None, "collect_after": None}),
])
def test_a_damaged_file_is_named_and_can_be_put_aside(tmp_path, content):
    book = RoundBook(tmp_path)
    book.begin(Round.begin(BED, AT, 0))
    (path,) = tmp_path.glob("*.json")
    path.write_text(content)
    with pytest.raises(RoundError, match="cannot be read") as told:
        book.get(BED)
    assert str(told.value).count(".") <= 2 and "record is untouched" in str(told.value)
    book.close(BED)
    assert book.get(BED) is None


def test_a_place_that_cannot_be_written_is_said_and_loses_nothing(tmp_path, monkeypatch):
    book = RoundBook(tmp_path)
    round_ = Round.begin(BED, AT, 0)
    book.begin(round_)

    def full(_fd):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RoundError, match="disk full"):
        book.keep(round_.with_seen("output"))
    monkeypatch.undo()
    assert book.get(BED) == round_
    assert [p.suffix for p in tmp_path.iterdir()] == [".json"]


# --- the setting against the order

def test_the_setting_is_compared_in_the_unit_of_the_order():
    """13.5951 cmH2O is 10 mmHg: NIST Special Publication 811 (2008), appendix B."""
    same = compare_setting(13.6, "cm[H2O]", 10, "mm[Hg]")
    assert same.same and same.unit == "mm[Hg]"
    assert same.setting_in_order_unit == pytest.approx(13.6 * 98.0665 / 133.322387415)
    off = compare_setting(10, "cm[H2O]", 10, "mm[Hg]")
    assert not off.same and off.difference == pytest.approx(10 / 1.35951 - 10, abs=1e-4)
    assert "below the order" in off.sentence
    below = compare_setting(-5, "cm[H2O]", -3, "cm[H2O]")
    assert below.difference == -2 and "\N{MINUS SIGN}5 cmH2O" in below.sentence

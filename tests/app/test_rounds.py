"""Who is at a bed and how far, in a file of its own, and what a fault of that does."""

from __future__ import annotations

import datetime as dt
import json
import os
from decimal import Decimal

import pytest

from app.records import BedCode, Moment
from app.rounds import Round, RoundBook, RoundError, next_due
from app.setting_compare import compare_setting

BED = BedCode("QUAY-3")
AT = Moment(dt.datetime(2026, 3, 1, 13, 5, tzinfo=dt.UTC), 60)  # 14:05 on the ward's clock


def later(minutes: float) -> Moment:
    return Moment(AT.utc + dt.timedelta(minutes=minutes), AT.offset_min)


def test_the_next_reading_is_due_by_the_order_else_hourly():
    at, why = next_due(AT, Decimal(30))
    assert (f"{at.local:%H:%M}", "your order" in why) == ("14:35", True)
    at, why = next_due(AT, None)
    assert (f"{at.local:%H:%M}", "common practice" in why) == ("15:05", True)


@pytest.mark.parametrize("ordered, due, why", [
    (50, "14:55", "your new order: every 30 min"),  # would have been late at 14:35
    (10, "14:35", "your order: every 30 min")])
def test_no_reading_was_due_before_the_order_that_asks_for_it(ordered, due, why):
    at, said = next_due(AT, Decimal(30), later(ordered).local)
    assert (f"{at.local:%H:%M}", said) == (due, why)


# --- the file

def test_a_round_comes_back_as_it_was_kept(tmp_path):
    book = RoundBook(tmp_path / "rounds")
    round_ = Round.begin("A/B 3", AT, 17, "K.T.")
    book.begin(round_)
    round_ = round_.moved("own").moved("both", "M.K.")
    book.keep(round_)
    assert RoundBook(tmp_path / "rounds").get("A/B 3") == round_
    assert RoundBook(tmp_path / "rounds").all() == (round_,)
    book.close("A/B 3")
    assert book.get("A/B 3") is None and list((tmp_path / "rounds").iterdir()) == []


def test_the_file_holds_no_value_and_no_photo(tmp_path):
    book = RoundBook(tmp_path)
    book.begin(Round.begin("QUAY-3", AT, 0, "K.T.").moved("both"))
    (path,) = tmp_path.glob("*.json")
    assert set(json.loads(path.read_text())) == {
        "format", "id", "bed", "began", "after", "by", "at"}
    assert path.stat().st_mode & 0o077 == 0 or os.name == "nt"


def test_one_round_at_a_bed_and_no_round_over_another(tmp_path):
    book = RoundBook(tmp_path)
    mine = Round.begin(BED, AT, 0)
    book.begin(mine)
    with pytest.raises(RoundError, match="under way"):
        book.begin(Round.begin(BED, later(1), 0))
    book.close(BED)
    with pytest.raises(RoundError, match="load the page again"):
        book.keep(mine.moved("own"))
    book.begin(Round.begin(BED, later(2), 0))
    with pytest.raises(RoundError, match="load the page again"):
        book.keep(mine.moved("own"))


OLD = {"format": 1, "id": "a", "bed": "QUAY-3", "began": ["2026-03-01T13:05:00.000Z", 60],
       "after": 1, "collect_since": None, "collect_minutes": None, "collect_until": None,
       "collect_after": None, "seen": ["output"]}


def test_a_round_of_the_form_before_is_one_that_has_just_begun(tmp_path):
    book = RoundBook(tmp_path)
    book.begin(Round.begin(BED, AT, 0))
    (path,) = tmp_path.glob("*.json")
    path.write_text(json.dumps(OLD))
    found = book.get(BED)
    assert found == Round("QUAY-3", AT, 1, "a")


@pytest.mark.parametrize("content", [
    "", "{", "null", "[]", "{}", '{"format": 2}', '{"format": 1, "began": null}', "\x00",
    json.dumps({**OLD, "began": ["x", 0]}), json.dumps({**OLD, "bed": "OTHER"}),
    json.dumps({**OLD, "format": 3}), json.dumps({**OLD, "at": "nowhere"}),
    json.dumps({**OLD, "at": []}),
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
        book.keep(round_.moved("own"))
    monkeypatch.undo()
    assert book.get(BED) == round_
    assert [p.suffix for p in tmp_path.iterdir()] == [".json"]


# --- the setting against the order

def test_the_setting_is_compared_in_the_unit_of_the_order():
    """13.5951 cmH2O is 10 mmHg: NIST Special Publication 811 (2008), appendix B; by hand."""
    same = compare_setting(13.6, "cm[H2O]", 10, "mm[Hg]")
    assert same.same and same.unit == "mm[Hg]"
    assert same.setting_in_order_unit == pytest.approx(10.0036, abs=5e-5)
    off = compare_setting(10, "cm[H2O]", 10, "mm[Hg]")
    assert not off.same and off.difference == pytest.approx(10 / 1.35951 - 10, abs=1e-4)
    assert "below the order" in off.sentence
    below = compare_setting(-5, "cm[H2O]", -3, "cm[H2O]")
    assert below.difference == -2 and "\N{MINUS SIGN}5 cmH2O" in below.sentence

"""The ward's lines: what they say of each bed, and which bed comes first."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta

import pytest
from records_help import BED, BY, LOW, reading
from shift_page import ago, put

from app.demo_bed import DEMO_BED, DemoStore, WardStore, open_demo
from app.records import (
    BedCode,
    ConfirmError,
    EventDraft,
    LevelDraft,
    OrderDraft,
    SettingDraft,
    Store,
)
from app.rounds import Round, RoundBook
from app.ward import ward_lines
from vision.output import ShiftPlan, findings, parse_starts
from vision.output.model import hm

PLAN = ShiftPlan(parse_starts("07:00,19:00"))
LIMITS = {"ml_per_hour": "15", "ml_per_shift": "500", "chamber_full_ml": "50",
          "reading_due_minutes": "60", "level_due_minutes": "240"}


def ordered(store: Store, bed: str, **limits: str) -> None:
    put(store, OrderDraft(landmark="ear canal", limits=LIMITS | limits), 400, bed=BedCode(bed),
        clock_checked=True)


def level(store: Store, bed: str, minutes: float = 90) -> None:
    put(store, LevelDraft.usual_method(), minutes, bed=BedCode(bed), clock_checked=True)


def reads(store: Store, bed: str, *values: tuple[str, float]) -> None:
    for value, minutes in values:
        store.add(reading(value, bed=BedCode(bed), clock=lambda m=minutes: ago(m),
                          clock_checked=True))


@pytest.fixture
def store(tmp_path) -> Store:
    return Store.open(tmp_path / "ward")


@pytest.fixture
def lines(store, tmp_path):
    def look(**more):
        now = datetime.now().astimezone()
        return ward_lines(store, RoundBook(tmp_path / "rounds"), now, PLAN, **more)
    return look


@pytest.mark.slow
def test_the_most_urgent_bed_comes_first(store, lines):
    for bed, values in {
            "CALM": (("4", 70), ("14", 10)), "LATE": (("4", 140), ("14", 75)),
            "LATER": (("4", 200), ("14", 130)), "FULL": (("41", 70), ("51", 10)),
            "OVER": (("4", 70), ("30", 10)), "STALE": (("4", 70), ("14", 10))}.items():
        ordered(store, bed)
        level(store, bed, 300 if bed == "STALE" else 90)
        reads(store, bed, *values)
    ordered(store, "NEW")
    level(store, "NEW")
    assert [line.bed for line in lines()] == [
        "OVER", "LATER", "LATE", "FULL", "NEW", "STALE", "CALM"]
    said = {line.bed: line.reasons for line in lines()}
    assert said == {"OVER": ("over a limit",), "LATER": ("reading due",),
                    "LATE": ("reading due",), "FULL": ("chamber full",),
                    "NEW": ("no reading yet",), "STALE": ("level check stale",), "CALM": ()}


@pytest.mark.slow
def test_a_reading_is_overdue_since_the_order_that_made_it_so_and_no_earlier(store, lines):
    def orders(bed: str, minutes: float, every: str) -> None:
        put(store, OrderDraft(landmark="ear canal", limits=LIMITS | {
            "reading_due_minutes": every}), minutes, bed=BedCode(bed), clock_checked=True)

    for bed, every in {"SHORT": "30", "SAME": "60", "LONG": "240"}.items():
        orders(bed, 400, "60")
        reads(store, bed, ("4", 200), ("14", 100))
        orders(bed, 20, every)
    said = {line.bed: line.overdue_minutes for line in lines()}
    assert said == {"SHORT": 20, "SAME": 40, "LONG": -140}
    orders("SHORT", 5, "30")  # once more the same: the clock does not begin anew
    line = next(line for line in lines() if line.bed == "SHORT")
    assert line.overdue_minutes == 20
    (overdue,) = (f for f in findings(
        line.account.account, line.account.limits, line.now, due_from=line.account.due_from)
        if f.limit == "reading_due_minutes")
    assert overdue.at == line.due.local


def test_a_line_says_what_is_due_and_what_came(store, lines):
    ordered(store, "QUAY-3")
    level(store, "QUAY-3", 60)
    before = ago(22).local
    reads(store, "QUAY-3", ("4", 142), ("14", 82), ("23.5", 22))
    (line,) = lines()
    since = {before, ago(22).local}  # the minute may have turned meanwhile
    assert line.due_words[0] in ("due in 38 min", "due in 37 min")
    assert line.due_words[1] in {
        f"at {at + timedelta(hours=1):%H:%M}; collecting since {hm(at, line.now)}" for at in since}
    assert line.hour_words[0] == "9.5 mL" and "limit 15 mL in an hour" in line.hour_words[1]
    assert "limit 500 mL in a shift" in line.shift_words[1]
    assert line.level_words[0].startswith("checked ") and "M.K." in line.level_words[1]
    # 26.5 mL to go at 9.5 mL/h: 2 h 47 min after the reading of 22 min ago, by hand
    assert line.chamber_words[0] == "23.5 mL, 47 % of 50"
    assert line.chamber_words[1].endswith(tuple(
        f"{at + timedelta(hours=26.5 / 9.5):%H:%M}" for at in since))


def test_a_limit_that_nobody_was_told_of_stays_named_after_a_calmer_hour(store, lines):
    """26 mL, then 4 mL in an hour: over no limit now, and nobody was told of the first."""
    ordered(store, "QUAY-3")
    level(store, "QUAY-3")
    reads(store, "QUAY-3", ("4", 130), ("30", 70), ("34", 10))
    (line,) = lines()
    when = hm(line.earlier[-1].at, line.now)
    assert line.over == ()
    assert line.reasons == (f"over a limit at {when}, no telling on record",)
    put(store, EventDraft("person-told", about="ml_per_hour", whom="doctor on call",
                          reply="will come"), 5)
    assert lines()[0].reasons == ()


@pytest.mark.parametrize("name", ["ml_per_hour", "ml_per_shift"])
def test_a_telling_closes_what_is_over_a_limit(store, lines, name):
    """Of the shift, too, which goes on; where one ended within this hour, its half is over."""
    put(store, OrderDraft(landmark="ear canal", limits={name: "10"}), 100)
    level(store, "QUAY-3")
    reads(store, "QUAY-3", ("4", 70), ("34", 10))
    assert [r for r in lines()[0].reasons if r.startswith("over a limit")]
    put(store, EventDraft("person-told", about=name, whom="doctor on call", reply="will come"), 5)
    assert lines()[0].reasons == ()


def test_a_stale_level_says_why(store, lines):
    ordered(store, "QUAY-3")
    level(store, "QUAY-3", 60)
    reads(store, "QUAY-3", ("4", 30))
    put(store, EventDraft("position-changed"), 20)
    (line,) = lines()
    assert line.reasons == ("level check stale",)
    assert line.level_words[1].startswith("the position changed at ")


def test_a_level_that_was_found_off_is_no_level_that_holds(store, lines):
    ordered(store, "QUAY-3")
    reads(store, "QUAY-3", ("4", 30))
    put(store, LevelDraft.of(LOW), 20, confirmed_value="-4.6")
    (line,) = lines()
    assert line.reasons == ("hangs 4.6 cm too low",)
    assert line.level_words[0].endswith(": hangs 4.6 cm too low")
    assert line.level_words[1] == "by M.K.; check the level again"
    level(store, "QUAY-3", 10)
    (line,) = lines()
    assert line.reasons == () and "still valid" in line.level_words[1], "hung anew since"


def test_a_setting_that_is_not_as_ordered_presses(store, lines):
    put(store, OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]"), 90)
    reads(store, "QUAY-3", ("4", 30))
    level(store, "QUAY-3", 25)
    assert lines()[0].reasons == ("no setting check",)
    put(store, SettingDraft("cm[H2O]"), 20, confirmed_value="10")
    assert lines()[0].reasons == ("setting not as ordered",)
    put(store, SettingDraft("cm[H2O]"), 15, confirmed_value="13.6")
    assert lines()[0].reasons == ()
    put(store, OrderDraft(landmark="ear canal", threshold="12", unit="mm[Hg]"), 5)
    assert lines()[0].reasons == ("setting check stale",)


def test_an_order_without_a_threshold_asks_for_no_setting(store, lines):
    ordered(store, "QUAY-3")
    reads(store, "QUAY-3", ("4", 30))
    level(store, "QUAY-3", 25)
    assert lines()[0].reasons == ()


def test_a_round_under_way_says_whose_and_where(store, lines, tmp_path):
    ordered(store, "QUAY-3")
    book = RoundBook(tmp_path / "rounds")
    book.begin(Round.begin("QUAY-3", ago(3), store.count(), "K.T."))
    (line,) = lines()
    assert line.round_words[0].startswith("round of K.T., since ")
    assert line.round_words[1] == "at the step: before the photo"
    book.keep(line.round.moved("both"))
    assert lines()[0].round_words[1] == "at the step: both readings, not confirmed"


def test_a_bed_without_an_order_is_there_while_it_is_read(store, lines):
    reads(store, "QUAY-3", ("4", 60))
    put(store, EventDraft("bag-changed"), 5, bed=BedCode("EMPTY-1"))
    assert [line.bed for line in lines()] == ["QUAY-3"]


def test_a_bed_that_cannot_be_read_keeps_no_other_off(store, lines, tmp_path):
    ordered(store, "GOOD-1")
    ordered(store, "BAD-1")
    file = sqlite3.connect(tmp_path / "ward" / "record.sqlite3")
    for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
        file.execute(f"DROP TRIGGER {name}")
    file.execute("UPDATE entry SET payload = '{\"limits\": {\"ml_per_hour\": \"x\"}}' "
                 "WHERE bed = 'BAD-1'")
    file.commit()
    file.close()
    bad, good = lines()
    assert (bad.bed, bad.reasons, good.bed) == ("BAD-1", ("cannot be read",), "GOOD-1")
    assert "ml_per_hour" in bad.problem


# --- the demo bed

def test_nothing_of_the_demo_bed_comes_into_the_wards_record(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "key"))
    ward = WardStore.open(tmp_path / "ward")
    for bed in (DEMO_BED, "demo"):
        with pytest.raises(ConfirmError, match="demo bed"):
            ward.add(reading("14", bed=BedCode(bed), clock=lambda: ago(1), clock_checked=True))
    ward.add(reading("14", clock=lambda: ago(1), clock_checked=True))
    assert ward.count() == 1


@pytest.mark.slow
def test_the_demo_bed_is_a_filled_shift_in_a_record_of_its_own(store, lines, tmp_path):
    demo = open_demo(tmp_path / "demo")
    (line,) = ward_lines(demo, RoundBook(tmp_path / "none"), datetime.now().astimezone(), PLAN)
    assert line.bed == DEMO_BED and len(line.account.account.readings) == 8
    assert line.hour.output_ml is not None and line.full is not None and not line.is_due
    assert demo.verify().ok and (tmp_path / "demo" / "demo.key").is_file()
    assert store.beds() == () and lines() == ()
    assert open_demo(tmp_path / "demo").count() == demo.count(), "filled once"


def test_the_demo_record_takes_no_other_bed(tmp_path):
    demo = DemoStore.open(tmp_path / "demo")
    with pytest.raises(ConfirmError, match="Leave the demo bed first"):
        put(demo, EventDraft("bag-changed"), 1, bed=BED, by=BY)
    assert demo.count() == 0


def test_the_wards_page_leaves_the_demo_bed_out(store, lines):
    reads(store, DEMO_BED, ("4", 60))
    assert lines(leave_out=(DEMO_BED,)) == ()

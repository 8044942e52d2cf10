"""From the record to the account: what counts, with which uncertainty, and how old the level is."""

from __future__ import annotations

import math
from datetime import timedelta
from decimal import Decimal

import pytest
from records_help import BED, BY, SCALE, YES, at, clock, draft, happening, reading, seen

from app.records import (
    Attestations,
    LevelDraft,
    OrderDraft,
    OwnReading,
    ReadingDraft,
    SettingDraft,
    Store,
    confirm,
)
from app.records.shift import bed_account, chamber_inputs, level_state, reading_uncertainty
from vision.budget import BudgetTerm
from vision.output.limits import Limits


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path)


def entry(store, made):
    return store.add(made)


def test_the_machines_uncertainty_counts_when_the_person_agrees(store):
    """Interval 22.912 to 23.912: u = 0.5 / 1.96."""
    agreed = entry(store, reading("23.4"))
    assert reading_uncertainty(agreed) == pytest.approx(0.5 / 1.959964)


def test_the_eyes_uncertainty_counts_otherwise(store):
    """One division, rectangular: u = 1 / sqrt 3 mL."""
    disagreed = entry(store, reading("26"))
    assert reading_uncertainty(disagreed) == pytest.approx(1 / math.sqrt(3))
    by_eye = confirm(ReadingDraft.by_eye(scale=SCALE, first=OwnReading.read("26")), by=BY, bed=BED,
                     confirmed_value="26", attestations=YES, clock=clock(1))
    assert reading_uncertainty(entry(store, by_eye)) == pytest.approx(1 / math.sqrt(3))


def test_the_scales_own_error_is_not_counted_twice(store):
    """u^2 = (0.5 / 1.96)^2 - 0.2^2: the scale's 0.2 mL is carried for both readings at once."""
    view = seen(budget=(BudgetTerm("scale tolerance", 0.2, "mL"),
                        BudgetTerm("edge of the liquid", 0.15, "mL")))
    made = confirm(ReadingDraft.of(view, scale=SCALE, photo_sha256="ab" * 32,
                                   first=OwnReading.skipped()),
                   by=BY, bed=BED, confirmed_value="23.4", attestations=YES, clock=clock(0))
    assert reading_uncertainty(entry(store, made)) == pytest.approx(
        math.sqrt((0.5 / 1.959964) ** 2 - 0.2**2))


def test_the_name_of_the_scale_term_is_the_measuring_sides():
    from pathlib import Path

    import vision
    from app.records.shift import _SCALE_TERMS

    text = (Path(vision.__file__).parent / "volume" / "estimate.py").read_text(encoding="utf-8")
    assert all(f'"{name}", ' in text for name in _SCALE_TERMS)


def test_print_and_scale_are_shared_by_two_readings_of_one_chamber(store):
    """JCGM 100:2008, 5.2.2 and F.1.2.3: what two values share leaves their difference.  The
    same height read twice with 0.15 mL of its own each, print 0.3 and scale 0.2 shared:
    u = 0.15 sqrt 2 and not sqrt(2 (0.15^2 + 0.3^2 + 0.2^2)) = 0.55 mL."""
    whole = math.sqrt(0.15**2 + 0.3**2 + 0.2**2)
    budget = tuple(BudgetTerm(name, u, "mL") for name, u in (
        ("scale tolerance", 0.2), ("print of the marks", 0.3), ("edge of the liquid", 0.15)))
    for minute in (0, 60):
        view = seen(half=1.959964 * whole, budget=budget)
        store.add(confirm(ReadingDraft.of(view, scale=SCALE, photo_sha256="ab" * 32,
                                          first=OwnReading.skipped()),
                          by=BY, bed=BED, confirmed_value="23.4", attestations=YES,
                          clock=clock(minute)))
    (interval,) = bed_account(store, BED).account.intervals
    assert interval.u_ml == pytest.approx(0.15 * math.sqrt(2), rel=0.01)


@pytest.mark.slow
def test_withdrawn_things_count_nowhere_and_corrected_ones_as_corrected(store):
    first = store.add(reading("10", 0))
    store.add(reading("20", 60))
    wrong = store.add(reading("50", 90))
    store.add(confirm(first.correction("x", confirmed_value="12"), by=BY, bed=BED,
                      clock=clock(91)))
    store.add(confirm(wrong.withdrawal("x"), by=BY, bed=BED, clock=clock(92)))
    assert bed_account(store, BED).account.total_ml == 8
    readings, _ = chamber_inputs(store.current(BED, withdrawn=True))
    assert [r.value_ml for r in readings] == [12, 20]


def test_a_late_entry_and_a_corrected_time_change_the_account(store):
    store.add(reading("10", 0))
    store.add(reading("30", 120))
    store.add(reading("14", 130, happened_at=at(60)))
    account = bed_account(store, BED).account
    assert [i.output_ml for i in account.intervals] == [4, 16]
    late = store.last(BED, "volume-reading").entry
    store.add(confirm(late.correction("clock read wrongly", happened_at=at(180)), by=BY, bed=BED,
                      clock=clock(200)))
    account = bed_account(store, BED).account
    assert [i.hours for i in account.intervals] == [1, 2]


def test_a_corrected_emptying_answers_the_question(store):
    store.add(reading("40", 0))
    emptied = store.add(happening("chamber-emptied", 30))
    store.add(reading("5", 60))
    assert bed_account(store, BED).account.questions
    store.add(confirm(emptied.correction("asked the colleague", payload={
        "before_ml": "44", "after_ml": "0"}), by=BY, bed=BED, clock=clock(70)))
    account = bed_account(store, BED).account
    assert account.questions == () and account.total_ml == 9


def test_statements_answered_with_no(store):
    store.add(reading("10", 0))
    open_outlet = Attestations(False, True, True, True)
    store.add(reading("15", 60, attestations=open_outlet, note="opened at 08:40"))
    bed = bed_account(store, BED)
    assert bed.account.questions[0].kind == "outlet-open" and bed.account.total_ml == 0


def test_limits_and_whom_to_tell_come_from_the_last_order(store):
    assert bed_account(store, BED).limits == Limits()
    for minute, limit in ((0, "10"), (5, "15")):
        store.add(confirm(OrderDraft(limits={"ml_per_hour": limit}, tell_whom="the teacher"),
                          by=BY, bed=BED, clock=clock(minute)))
    bed = bed_account(store, BED)
    assert bed.limits == Limits(ml_per_hour=Decimal(15)) and bed.tell_whom == "the teacher"


def test_since_leaves_out_what_was_before_but_not_the_order(store):
    store.add(confirm(OrderDraft(tell_whom="the teacher"), by=BY, bed=BED, clock=clock(0)))
    for minute, value in ((10, "1"), (70, "5"), (130, "12")):
        store.add(reading(value, minute))
    bed = bed_account(store, BED, since=at(60).utc)
    assert bed.account.total_ml == 7 and bed.tell_whom == "the teacher"


def test_the_age_of_the_level(store):
    now = at(300).utc
    assert level_state((), now).stale and "No level check" in level_state((), now).sentence
    store.add(confirm(LevelDraft.usual_method(), by=BY, bed=BED, clock=clock(0)))
    assert not level_state(store.current(BED), now).stale
    due = level_state(store.current(BED), now, due_minutes=Decimal(240))
    assert due.stale and "your limit is 240 min" in due.sentence
    store.add(happening("position-changed", 60))
    moved = level_state(store.current(BED), now)
    assert moved.stale and "position changed at 09:00" in moved.sentence
    store.add(confirm(LevelDraft.of({"status": "read", "offset_cm": 0.2,
                                     "interval_cm": [-0.3, 0.7]}), by=BY, bed=BED,
                      confirmed_value="0.2", clock=clock(90)))
    assert not level_state(store.current(BED), now).stale
    assert level_state(store.current(BED), at(30).utc).last.number == 1, "as it was then"
    other_day = level_state(store.current(BED), now + timedelta(days=1))
    assert "2026-03-02 09:30" in other_day.sentence, "yesterday's check says its date"


@pytest.mark.parametrize(("value", "action", "hangs"), [
    ("-4.6", "raise 4.6 cm", "hangs 4.6 cm too low"),
    ("2.0", "lower 2.0 cm", "hangs 2.0 cm too high"), ("0.3", "level", "")])
def test_a_level_that_was_found_off_says_so(store, value, action, hangs):
    seen = {"status": "read", "offset_cm": float(value), "interval_cm": None, "action": action}
    store.add(confirm(LevelDraft.of(seen), by=BY, bed=BED, confirmed_value=value, clock=clock(0)))
    found = level_state(store.current(BED), at(5).utc)
    assert found.hangs == hangs and not found.stale
    assert (f"; it {hangs}. Hang it anew" in found.sentence) == bool(hangs)
    store.add(happening("position-changed", 10))
    moved = level_state(store.current(BED), at(15).utc)
    assert moved.stale and not moved.hangs, "how it hangs now nobody knows"


@pytest.mark.slow
def test_an_unread_photo_gives_the_eyes_uncertainty(store):
    made = confirm(draft(), by=BY, bed=BED, confirmed_value="23.4", attestations=YES,
                   clock=clock(0))
    assert made.content.machine.status == "read"
    unread = ReadingDraft.of(seen().__class__("refused", "mL", 1.0, "pier-60"), scale=SCALE,
                             photo_sha256="ab" * 32, first=OwnReading.read("23"))
    kept = entry(store, confirm(unread, by=BY, bed=BED, confirmed_value="23", attestations=YES,
                                clock=clock(1)))
    assert reading_uncertainty(kept) == pytest.approx(1 / math.sqrt(3))


# --- a look at the last hours still knows what was settled before them


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

"""What does not fit the record is asked about; what fits is not."""

from __future__ import annotations

from decimal import Decimal

import pytest
from output_help import e, r

from vision.output import Limits, limits_from
from vision.output.limits import PLAUSIBLE_ML_PER_HOUR
from vision.output.plausible import KINDS, change_questions

CLOSED = [e(-1, "drain-closed", number=1)]


def kinds(readings, events, new, limits=None, capacity=None) -> list[str]:
    asked = change_questions(readings, events, new, limits or Limits(), capacity)
    assert all(q.kind in KINDS and q.sentence.count("?") >= 1 for q in asked)
    return [q.kind for q in asked]


def test_55_ml_three_minutes_after_0_with_the_drain_closed():
    asked = change_questions([r(0, "0")], CLOSED, r(0.05, "55", number=99), Limits())
    assert [q.kind for q in asked] == ["came-while-closed"]
    assert "55 mL came although the drain is on record as closed" in asked[0].sentence


def test_the_same_after_an_emptying_and_with_the_drain_open_or_not_on_record():
    """55 mL in 3 min is 1100 mL/h."""
    emptied = [e(1, "chamber-emptied", number=101, before_ml="28", after_ml="0")]
    assert kinds([r(0.99, "28")], CLOSED + emptied, r(1.05, "55", number=200)) == [
        "came-while-closed"]
    assert kinds([r(0.99, "28")], emptied, r(1.05, "55", number=200)) == ["rise"]
    assert kinds([r(0, "0")], [e(-1, "drain-opened", number=1)], r(0.05, "55", number=99)) == [
        "rise"]


@pytest.mark.parametrize(("value", "asked"), [
    ("12", ["negative"]), ("27.5", []), ("28", []), ("36", []), ("87", []), ("91", ["rise"])])
def test_an_hour_after_28_ml(value, asked):
    """At most 60 mL in an hour, and no less than before; both with the readings' doubt
    (1.96 * 0.68 = 1.3 mL) and the clock's (1.4 min, 1.4 mL)."""
    assert PLAUSIBLE_ML_PER_HOUR == 60
    assert kinds([r(0, "28")], [], r(1, value, number=500)) == asked


def test_the_ward_sets_what_is_plausible():
    limits = limits_from({"plausible_ml_per_hour": "20"})
    (q,) = change_questions([r(0, "28")], [], r(1, "60", number=500), limits)
    assert "faster than 20 mL/h (named by your order)" in q.sentence
    assert kinds([r(0, "28")], [], r(1, "60", number=500)) == []


def test_only_the_time_with_the_drain_open_counts():
    """Closed for 54 of 60 min: 12 mL came in 6 min, 120 mL/h."""
    events = [e(-1, "drain-closed", number=1), e(0.9, "drain-opened", number=2)]
    (q,) = change_questions([r(0, "10")], events, r(1, "22", number=500), Limits())
    assert q.kind == "rise" and "6 min of it with the drain open" in q.sentence


def test_less_than_before_is_no_question_after_an_emptying_that_fits():
    emptied = [e(0.5, "chamber-emptied", number=101, before_ml="32", after_ml="0")]
    assert kinds([r(0, "28")], emptied, r(1, "4", number=500)) == []


def test_more_than_the_scale_holds_and_another_scale():
    assert kinds([], [], r(0, "62"), capacity=Decimal(60)) == ["above-capacity"]
    assert kinds([], [], r(0, "60"), capacity=Decimal(60)) == []
    assert kinds([r(0, "50")], [], r(1, "3", number=500, scale="pier-100")) == ["scale-changed"]


def test_a_reading_entered_late_is_compared_with_both_neighbours():
    assert kinds([r(0, "10"), r(2, "14")], [], r(1, "30", number=500)) == ["negative"]
    assert kinds([r(0, "10"), r(2, "14")], [], r(1, "12", number=500)) == []


def test_an_emptying_is_compared_like_a_reading():
    assert kinds([r(0, "28")], [], e(0.1, "chamber-emptied", number=500, before_ml="55",
                                     after_ml="0")) == ["rise"]
    assert kinds([r(0, "28")], [], e(0.1, "chamber-emptied", number=500, before_ml="10",
                                     after_ml="0")) == ["negative"]
    assert kinds([r(0, "28")], CLOSED, e(0.1, "chamber-emptied", number=500, before_ml="28",
                                         after_ml="0")) == []
    assert kinds([r(0, "28")], [], e(0.1, "chamber-emptied", number=500)) == []

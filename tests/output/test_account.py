"""Output from confirmed readings: exact sums, honest uncertainty, nothing hidden.

The worked examples were done by hand (the arithmetic stands beside each).
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta, timezone
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from output_help import DAY, e, r, t

from app.exports.account_text import amount, window
from vision.errors import InputError
from vision.output import (
    ChamberEvent,
    ChamberReading,
    Limits,
    ShiftPlan,
    content_now,
    cumulative,
    findings,
    full_at,
    is_open,
    limits_from,
    make_account,
    open_hours,
    parse_starts,
    rolling,
    shift_totals,
    window_total,
)
from vision.output.covariance import (
    Source,
    combined,
    covariance_matrix,
    difference_uncertainty,
    scale_correlation,
)
from vision.output.findings import compare
from vision.output.model import tenths

# --- worked examples


def test_a_plain_night_by_hand():
    """12.5 -> 20.0 -> 26.4: 7.5 mL in 1 h, 6.4 mL in 1.5 h = 4.2667 mL/h, 13.9 mL in all."""
    a = make_account([r(0, "12.5"), r(1, "20.0"), r(2.5, "26.4")])
    assert [i.output_ml for i in a.intervals] == [Decimal("7.5"), Decimal("6.4")]
    assert a.intervals[0].ml_per_hour == 7.5
    assert a.intervals[1].ml_per_hour == pytest.approx(4.266667, abs=1e-6)
    assert a.total_ml == Decimal("13.9") and a.questions == ()


def test_emptied_in_between_by_hand():
    """48.0 at 08:00, emptied at 09:00 from 55.5 down to 0.5, 9.0 at 10:00:
    (55.5 - 48.0) + (9.0 - 0.5) = 7.5 + 8.5 = 16.0 mL in 2 h = 8.0 mL/h."""
    a = make_account([r(0, "48.0"), r(2, "9.0")],
                     [e(1, "chamber-emptied", before_ml="55.5", after_ml="0.5")])
    (i,) = a.intervals
    assert i.output_ml == Decimal("16.0") and i.ml_per_hour == 8.0 and i.counted


def test_samples_by_hand():
    """20 -> 22 with 3 mL drawn from the chamber = 5 mL; 4 mL from the port is told beside it."""
    a = make_account([r(0, "20"), r(1, "22")],
                     [e(0.5, "sample-taken", volume_ml="3", source="chamber"),
                      e(0.7, "sample-taken", volume_ml="4", source="port")])
    (i,) = a.intervals
    assert (i.output_ml, i.samples_ml) == (Decimal(5), Decimal(4))
    assert window_total(a, t(0), t(1)).samples_ml == 4


def test_a_drop_after_a_sample_from_the_chamber_is_no_question():
    a = make_account([r(0, "20"), r(1, "12")],
                     [e(0.5, "sample-taken", volume_ml="10", source="chamber")])
    assert a.intervals[0].output_ml == 2 and a.questions == ()


def test_a_change_of_bag_and_of_position_moves_no_volume():
    a = make_account([r(0, "10"), r(1, "15")], [e(0.5, "bag-changed"), e(0.6, "position-changed")])
    (i,) = a.intervals
    assert i.output_ml == 5 and [x.name for x in i.events] == ["bag-changed", "position-changed"]


def test_the_last_emptying_counts_without_a_reading_after_it():
    a = make_account([r(0, "40")], [e(1, "chamber-emptied", before_ml="52", after_ml="0")])
    (i,) = a.intervals
    assert i.output_ml == 12 and i.last is None and i.end == t(1)
    assert content_now(a) == (t(1), Decimal(0))


def test_two_emptyings_between_two_readings():
    """10 -> 50 | 0 -> 30 | 1 -> 6: 40 + 30 + 5 = 75."""
    a = make_account([r(0, "10"), r(9, "6")],
                     [e(4, "chamber-emptied", before_ml="50", after_ml="0"),
                      e(8, "chamber-emptied", before_ml="30", after_ml="1")])
    assert a.total_ml == 75


def test_order_within_one_minute_is_the_order_of_the_record():
    """Read 50, then emptied, both at 09:00; and the other way round."""
    read_first = make_account([r(0, "45", number=1), r(1, "50", number=2), r(2, "7", number=4)],
                              [e(1, "chamber-emptied", number=3, before_ml="50", after_ml="0")])
    assert [i.output_ml for i in read_first.intervals] == [5, 7]
    emptied_first = make_account([r(0, "45", number=1), r(1, "0", number=3)],
                                 [e(1, "chamber-emptied", number=2, before_ml="50",
                                    after_ml="0")])
    assert emptied_first.total_ml == 5


# --- uncertainty


def test_gum_formula_for_a_difference_by_hand():
    """JCGM 100:2008, 5.2.2: u1 = 3, u2 = 4: r = 0 -> 5, r = 1 -> 1, r = 1/2 -> sqrt(13)."""
    assert difference_uncertainty(3, 4, 0) == 5
    assert difference_uncertainty(3, 4, 1) == 1
    assert difference_uncertainty(3, 4, 0.5) == pytest.approx(math.sqrt(13))


def test_the_scale_errors_of_two_readings_keep_within_the_standards_bound():
    """ISO 4788:2005: the tolerance bounds the error at any point and the difference of the
    errors at any two points.  So the scale's part of u(V2 - V1) is T / sqrt 3 at most,
    and nothing for the same point."""
    far = make_account([r(0, "5", u=0, tolerance_ml=0.5), r(1, "60", u=0, tolerance_ml=0.5)])
    assert far.intervals[0].u_ml == pytest.approx(0.5 / math.sqrt(3), rel=1e-4)
    same = make_account([r(0, "5", u=0, tolerance_ml=0.5), r(1, "5", u=0, tolerance_ml=0.5)])
    assert same.intervals[0].u_ml == 0
    rs = [scale_correlation(d, 1) for d in (0, 2, 20, 1000)]
    assert rs[0] == 1 and rs == sorted(rs, reverse=True) and rs[-1] >= 0.5


def test_a_difference_by_hand_with_reading_noise():
    """u = sqrt(0.3^2 + 0.4^2 + T^2/3 * 2 (1 - rho)), T = 1, rho = 1/2 + 1/2 exp(-10/5)."""
    a = make_account([r(0, "10", u=0.3), r(1, "20", u=0.4)])
    rho = 0.5 + 0.5 * math.exp(-2)
    assert a.intervals[0].u_ml == pytest.approx(math.sqrt(0.25 + 2 / 3 * (1 - rho)))


def test_middle_readings_cancel_in_the_cumulative_sum():
    """Ten readings without emptying: the sum knows only the first and the last."""
    many = make_account([r(k, str(5 * k), u=0.5) for k in range(10)])
    two = make_account([r(0, "0", u=0.5), r(9, "45", u=0.5)])
    assert cumulative(many)[-1][1] == cumulative(two)[-1][1] == 45
    assert cumulative(many)[-1][2] == pytest.approx(cumulative(two)[-1][2])


def test_uncertainty_against_monte_carlo():
    """JCGM 101:2008 in place of the formula: errors drawn as the model says (seed 11)."""
    readings = [r(0, "10", u=0.3), r(1, "18", u=0.2), r(2, "50", u=0.3), r(3, "4", u=0.2)]
    events = [e(2.5, "chamber-emptied", before_ml="53", after_ml="1")]
    a = make_account(readings, events)
    sources = [Source(v, u, 1.0, "pier-60", 1.0) for v, u in
               ((10, 0.3), (18, 0.2), (50, 0.3), (53, 1 / math.sqrt(3)), (1, 1 / math.sqrt(3)),
                (4, 0.2))]
    rng = np.random.default_rng(11)
    drawn = rng.multivariate_normal(np.zeros(6), covariance_matrix(sources), 200_000)
    totals = drawn @ np.array([-1, 0, 0, 1, -1, 1.0])
    assert cumulative(a)[-1][2] == pytest.approx(totals.std(), rel=0.01)


def test_the_matrix_is_made_of_the_formula():
    """Every pair recomputed with scale_correlation; another scale shares nothing."""
    sources = [Source(v, 0.2, 1.0, name, 2.0) for v, name in
               ((5, "a"), (9, "a"), (50, "a"), (9, "b"))]
    matrix = covariance_matrix(sources)
    for i, a in enumerate(sources):
        for j, b in enumerate(sources):
            shared = 0.0
            if a.scale == b.scale:
                shared = scale_correlation(a.value_ml - b.value_ml, 2.0) / 3
            assert matrix[i, j] == pytest.approx(shared + (0.04 if i == j else 0))


def test_the_running_uncertainty_is_that_of_the_whole_sum():
    a = make_account([r(k, str(5 * (k % 4) + 30), u=0.3) for k in range(8)],
                     [e(3.5, "chamber-emptied", before_ml="46", after_ml="1")])
    for k, (_, _, u) in enumerate(cumulative(a), start=1):
        counted = [(i, 1.0) for i in a.intervals[:k] if i.counted]
        assert u == pytest.approx(a.uncertainty(counted), abs=1e-9)


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 2), st.floats(0, 3)), min_size=1,
                max_size=12))
def test_every_covariance_is_a_covariance(rows):
    matrix = covariance_matrix([Source(v, u, t_, "s", 1.0) for v, u, t_ in rows])
    assert np.allclose(matrix, matrix.T)
    assert np.linalg.eigvalsh(matrix).min() > -1e-9 * max(1.0, np.abs(matrix).max())
    assert combined(np.ones(len(rows)), matrix) >= 0


# --- what does not add up is asked


def test_less_than_before_is_asked_about_and_not_counted():
    a = make_account([r(0, "40", number=1), r(1, "12", number=2), r(2, "20", number=3)])
    first, second = a.intervals
    assert first.output_ml == -28 and not first.counted and second.counted
    (q,) = a.questions
    assert q.kind == "negative" and q.numbers == (1, 2) and "28 mL less" in q.sentence
    assert a.total_ml == 8
    assert window_total(a, t(0), t(2)).complete is False


def test_a_little_less_within_the_uncertainty_is_no_question_and_stays_in_the_sum():
    a = make_account([r(0, "20.0"), r(1, "19.6"), r(2, "21")])
    assert a.questions == () and a.intervals[0].output_ml == Decimal("-0.4")
    assert a.total_ml == 1


@pytest.mark.parametrize(("event", "words", "least"), [
    ({"after_ml": "0"}, "stood in the chamber", 9), ({"before_ml": "55"}, "was left", 15)])
def test_an_emptying_without_volumes(event, words, least):
    a = make_account([r(0, "40"), r(2, "9")], [e(1, "chamber-emptied", **event)])
    (i,) = a.intervals
    assert i.output_ml is None and i.ml_per_hour is None and not i.counted
    assert i.at_least_ml == least and words in i.questions[0].sentence
    assert a.total_ml == 0


def test_a_sample_from_the_chamber_of_unknown_volume():
    a = make_account([r(0, "10"), r(1, "12")], [e(0.5, "sample-taken", source="chamber")])
    assert a.intervals[0].output_ml is None and "drawn" in a.questions[0].sentence


def test_emptied_with_less_in_it_than_was_read():
    a = make_account([r(0, "40"), r(2, "5")],
                     [e(1, "chamber-emptied", before_ml="30", after_ml="0")])
    assert a.questions[0].kind == "negative" and "does not fit" in a.questions[0].sentence


def test_outlet_open_scale_changed_and_came_while_closed():
    opened = make_account([r(0, "10"), r(1, "15", outlet_closed=False), r(2, "18")])
    assert [i.counted for i in opened.intervals] == [False, True]
    assert opened.questions[0].kind == "outlet-open" and opened.total_ml == 3
    changed = make_account([r(0, "10"), r(1, "15", scale="pier-100")])
    assert changed.questions[0].kind == "scale-changed" and not changed.intervals[0].counted
    closed = make_account([r(0, "10"), r(1, "25")], [e(-1, "drain-closed")])
    assert closed.questions[0].kind == "came-while-closed" and closed.total_ml == 15
    assert make_account([r(0, "10"), r(1, "10.3")], [e(-1, "drain-closed")]).questions == ()


def test_nothing_and_one_reading():
    assert make_account([]).intervals == () and make_account([]).total_ml == 0
    one = make_account([r(0, "10")])
    assert one.intervals == () and cumulative(one) == () and rolling(one) == ()
    assert shift_totals(make_account([]), ShiftPlan((time(7),), UTC)) == ()


def test_times_need_a_zone_and_values_are_not_negative():
    with pytest.raises(InputError):
        ChamberReading(datetime(2026, 1, 1), Decimal(1), 0.1, "s")
    with pytest.raises(InputError):
        ChamberReading(DAY, Decimal(-1), 0.1, "s")


# --- windows, shifts, clocks


def test_six_hours_between_readings_by_hand():
    """Readings at 0, 4, 8 h: 0, 8, 20 mL.  The six hours to 8 h: half of the first
    interval (4 mL) and all of the second (12 mL) = 16 mL; the half may hold anything from
    0 to 8 mL: u = 8 sqrt(1/12)."""
    a = make_account([r(0, "0", u=0, tolerance_ml=0), r(4, "8", u=0, tolerance_ml=0),
                      r(8, "20", u=0, tolerance_ml=0)])
    w = rolling(a)[-1]
    assert w.output_ml == 16 and w.interpolated and w.complete
    assert w.u_ml == pytest.approx(8 / math.sqrt(12))
    early = rolling(a)[0]
    assert early.output_ml == 8 and not early.complete and early.covered_hours == 4
    assert early.said_ml == "at least 8.0" and w.said_ml == "16.0", "more may have come unseen"


def test_shifts_over_midnight_by_hand():
    """20:00 to 08:00, 12 mL evenly; the shift changes at 23:00 and 07:00: 3 + 8 + 1."""
    a = make_account([r(12, "10"), r(24, "22")])
    plan = ShiftPlan(parse_starts("07:00, 15:00, 23:00"), UTC)
    assert [w.output_ml for w in shift_totals(a, plan)] == [3, 8, 1]
    assert [w.complete for w in shift_totals(a, plan)] == [False, True, False]
    running = shift_totals(a, plan, now=t(24))
    assert running[-1].end == t(24) and running[-1].complete


def test_a_shift_in_which_the_clocks_change_has_its_true_length():
    """Central European time goes forward on 29 Mar 2026 and back on 25 Oct 2026
    (tz database, zone Europe/Berlin)."""
    zone = ZoneInfo("Europe/Berlin")
    plan = ShiftPlan((time(7), time(19)), zone)

    def lengths(day: datetime) -> list[float]:
        return [(b - a).total_seconds() / 3600
                for a, b in plan.bounds(day, day + timedelta(hours=20))]

    assert 11.0 in lengths(datetime(2026, 3, 28, 18, 30, tzinfo=UTC))
    assert 13.0 in lengths(datetime(2026, 10, 24, 17, 30, tzinfo=UTC))


def test_an_hour_that_the_wall_clock_shows_twice():
    """02:30 summer time and 02:30 winter time are one hour apart: 6 mL in 1 h."""
    zone = ZoneInfo("Europe/Berlin")
    first = datetime(2026, 10, 25, 2, 30, tzinfo=zone, fold=0)
    second = datetime(2026, 10, 25, 2, 30, tzinfo=zone, fold=1)
    a = make_account([ChamberReading(second, Decimal(16), 0.2, "s", number=2),
                      ChamberReading(first, Decimal(10), 0.2, "s", number=1)])
    (i,) = a.intervals
    assert i.hours == 1 and i.output_ml == 6 and i.ml_per_hour == 6


def test_open_hours_by_hand():
    """Closed 1 to 2, opened, closed at 5: between 0 and 6 that is 1 + 3 = 4 h."""
    events = [e(1, "drain-closed"), e(2, "drain-opened"), e(5, "drain-closed")]
    assert open_hours(events, t(0), t(6)) == 4
    assert open_hours(events, t(1.5), t(1.75)) == 0
    assert open_hours(events, t(5.5), t(6)) == 0
    assert open_hours([], t(0), t(6)) == 6
    assert is_open(events, t(0)) is None
    assert (is_open(events, t(1)), is_open(events, t(3))) == (False, True)


@pytest.mark.parametrize("text", ["", "7", "25:00", "19:00,07:00", "07:00,07:00"])
def test_shift_starts_that_make_no_sense(text):
    with pytest.raises(InputError):
        ShiftPlan(parse_starts(text), UTC)


# --- the ward's limits


def test_without_limits_nothing_is_ever_found():
    a = make_account([r(0, "0"), r(0.1, "60")])
    assert findings(a, Limits(), t(99)) == ()


def test_limits_are_only_known_names_above_zero():
    assert limits_from({"ml_per_hour": "12.5", "ml_per_shift": None}) == Limits(
        ml_per_hour=Decimal("12.5"))
    for bad in ({"per_day": 1}, {"ml_per_hour": "0"}, {"ml_per_hour": "x"},
                {"ml_per_hour": "nan"}, {"ml_per_hour": "-3"}):
        with pytest.raises(InputError):
            limits_from(bad)


def test_verdicts_by_hand():
    """JCGM 106:2012, guard band 1.645 u: with u = 1, 18.3 is clear of 20 and 18.4 is not."""
    assert compare(18.3, 1, 20) == "within" and compare(18.4, 1, 20) == "too-close"
    assert compare(20.01, 1, 20) == "over" and compare(20, 0, 20) == "within"


def test_over_the_hourly_limit_says_whom_to_tell():
    a = make_account([r(0, "10"), r(1, "35")])
    (f,) = findings(a, Limits(ml_per_hour=Decimal(20)), t(1), tell_whom="the doctor on call")
    assert f.verdict == "over" and "25.0 mL in an hour" in f.sentence
    assert "limit of 20 mL in an hour" in f.sentence
    assert "Tell whom your orders name. Your order says: the doctor on call." in f.sentence
    limit = Limits(ml_per_hour=Decimal(20))
    close = findings(make_account([r(0, "10"), r(1, "29.8")]), limit, t(1))
    assert close[0].verdict == "too-close" and "Read again" in close[0].sentence
    assert findings(make_account([r(0, "10"), r(1, "20")]), limit, t(1)) == ()


def test_six_hour_and_shift_limits():
    a = make_account([r(k, str(10 * k)) for k in range(7)])
    six = findings(a, Limits(ml_per_six_hours=Decimal(55)), t(6))
    assert [f.at for f in six] == [t(6)] and six[0].verdict == "over"
    plan = ShiftPlan((time(7), time(19)), UTC)
    (shift,) = findings(a, Limits(ml_per_shift=Decimal(40)), t(6), plan=plan)
    assert "Shift from 07:00" in shift.sentence


@pytest.mark.parametrize(("seconds", "part"), [(300, "5 min"), (20, "less than a minute")])
def test_an_hour_that_is_not_known_whole_is_told_as_at_least(seconds, part):
    """First read that long after 08:00: the hour to 09:00 may have given more than the 25 mL."""
    a = make_account([r(seconds / 3600, "10"), r(1, "35")])
    (f,) = findings(a, Limits(ml_per_hour=Decimal(20)), t(1))
    assert f"08:00 to 09:00, {part} of it not known: at least 25.0 mL in an hour" in f.sentence
    whole = findings(make_account([r(0, "10"), r(1, "35")]), Limits(ml_per_hour=Decimal(20)), t(1))
    assert "08:00 to 09:00: 25.0 mL in an hour" in whole[0].sentence


def test_six_hours_and_a_shift_that_are_not_known_whole_are_told_as_at_least():
    """Known from 08:00 to 10:00: 4 of the six hours are not, and of the shift from 07:00 the hour
    before and the half hour since."""
    a = make_account([r(0, "10"), r(1, "30"), r(2, "55")])
    limits = Limits(ml_per_six_hours=Decimal(40), ml_per_shift=Decimal(40))
    six, shift = (f.sentence for f in findings(a, limits, t(2.5),
                                               plan=ShiftPlan((time(7), time(19)), UTC)))
    assert "Six hours to 10:00, 4.0 h of it not known: at least 45.0 mL" in six
    assert "Shift from 07:00, 1.5 h of it not known: at least 45.0 mL" in shift


def test_a_shift_is_over_its_limit_since_the_last_result_and_not_since_now():
    """Somebody told at 10:10 was told of what 10:00 made known, whenever it is looked at."""
    a = make_account([r(0, "10"), r(1, "30"), r(2, "55")])
    plan = ShiftPlan((time(7), time(19)), UTC)
    for now in (t(2.5), t(9)):
        (f,) = findings(a, Limits(ml_per_shift=Decimal(40)), now, plan=plan)
        assert f.at == t(2)
    (ended,) = findings(make_account([*a.readings, r(12, "60")]), Limits(ml_per_shift=Decimal(40)),
                        t(13), plan=plan)
    assert ended.at == t(11), "the reading after it tells of the shift up to its end"


def test_nothing_drained_for_two_hours():
    limits = Limits(nothing_drained_hours=Decimal(2))
    a = make_account([r(0, "10"), r(1, "20"), r(2, "20"), r(3, "20.1"), r(3.5, "20")])
    (f,) = findings(a, limits, t(3.5))
    assert "2.5 h" in f.sentence
    closed = make_account(a.readings, [e(1.2, "drain-closed")])
    assert findings(closed, limits, t(3.5)) == ()
    assert findings(make_account([r(0, "10"), r(3, "16")]), limits, t(3)) == ()


def test_when_the_chamber_is_full_by_hand():
    """30 mL at 09:00 at 10 mL/h: 50 mL two hours later, at 11:00."""
    a = make_account([r(0, "20"), r(1, "30")])
    expected, earliest = full_at(a, Decimal(50))
    assert expected == t(3) and t(2.5) < earliest < t(3)
    (f,) = findings(a, Limits(chamber_full_ml=Decimal(50)), t(1))
    assert "50 mL at 11:00" in f.sentence
    assert full_at(make_account([r(0, "20"), r(1, "20")]), Decimal(50)) is None
    assert f.sentence.startswith("At the present rate the chamber reaches 50 mL at 11:00, at the")
    assert f.verdict == "within"
    full = make_account([r(0, "20"), r(1, "50")])
    (f,) = findings(full, Limits(chamber_full_ml=Decimal(50)), t(1))
    assert "Follow your rule" in f.sentence


@pytest.mark.parametrize(("hour", "says", "not_said"), [
    (2.95, ("reaches 50 mL at 11:00", "may have done so since 10:", "Read the chamber."),
     "would have"),
    (3.0, ("would have reached 50 mL at 11:00", "no later reading", "Read the chamber."),
     "reaches"),
    (9.0, ("would have reached 50 mL at 11:00", "at the earliest 10:"), "reaches"),
])
def test_a_forecast_whose_time_has_come_is_told_as_past(hour, says, not_said):
    """As above, 50 mL expected at 11:00, looked at just before, then, and hours later."""
    a = make_account([r(0, "20"), r(1, "30")])
    (f,) = findings(a, Limits(chamber_full_ml=Decimal(50)), t(hour))
    assert all(words in f.sentence for words in says) and not_said not in f.sentence
    assert f.verdict == "too-close"


def test_an_overdue_reading():
    a = make_account([r(0, "20")])
    limits = Limits(reading_due_minutes=Decimal(60))
    assert findings(a, limits, t(1)) == ()
    assert "due at 09:00." in findings(a, limits, t(1.1))[0].sentence


def test_no_reading_is_overdue_since_before_it_was_ordered():
    a, limits = make_account([r(0, "20")]), Limits(reading_due_minutes=Decimal(60))
    assert findings(a, limits, t(2), due_from=t(2)) == ()
    (f,) = findings(a, limits, t(2.5), due_from=t(2))
    assert f.at == t(2) and f.sentence.endswith("was due at 10:00, when the order came.")
    (f,) = findings(a, limits, t(2.5), due_from=t(0.5))
    assert f.at == t(1) and f.sentence.endswith("was due at 09:00.")


# --- properties

_values = st.integers(0, 600).map(lambda n: Decimal(n) / 10)
_history = st.lists(st.tuples(st.integers(1, 200), _values, _values, st.booleans()), min_size=1,
                    max_size=15)


def _build(history):
    """Readings and emptyings at rising times; values rise between emptyings."""
    readings, events, minute, level, truth = [], [], 0, Decimal(0), Decimal(0)
    readings.append(ChamberReading(DAY, Decimal(0), 0.3, "s", number=1))
    for n, (gap, inflow, rest, emptied) in enumerate(history, start=2):
        minute += gap
        level += inflow
        truth += inflow
        at = DAY + timedelta(minutes=minute)
        if emptied:
            after = min(rest, level)
            events.append(ChamberEvent(at, "chamber-emptied", before_ml=level, after_ml=after,
                                       number=n))
            level = after
        else:
            readings.append(ChamberReading(at, level, 0.3, "s", number=n))
    return readings, events, truth


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(_history, st.randoms(use_true_random=False))
def test_the_sum_is_exact_whatever_the_order_of_entry(history, random):
    readings, events, truth = _build(history)
    random.shuffle(readings)
    random.shuffle(events)
    a = make_account(readings, events)
    assert a.questions == ()
    assert a.total_ml == truth
    assert (cumulative(a)[-1][1] if a.intervals else 0) == truth


@settings(max_examples=60, deadline=None)
@given(_history, st.lists(st.integers(1, 3000), min_size=1, max_size=6, unique=True))
def test_windows_that_tile_the_time_add_up_to_the_whole(history, cuts):
    readings, events, truth = _build(history)
    a = make_account(readings, events)
    end = max([i.end for i in a.intervals] or [DAY])
    marks = sorted({DAY, end + timedelta(minutes=1),
                    *(m for c in cuts if (m := DAY + timedelta(minutes=c)) < end)})
    windows = [window_total(a, x, y) for x, y in zip(marks, marks[1:], strict=False)]
    assert abs(sum(w.output_ml for w in windows) - truth) <= Decimal("0.0005") * len(windows)
    assert all(w.u_ml >= 0 and w.output_ml >= 0 for w in windows)


@settings(max_examples=40, deadline=None)
@given(_history, st.integers(-720, 840))
def test_the_wall_clock_makes_no_difference(history, offset):
    readings, events, _ = _build(history)
    zone = timezone(timedelta(minutes=offset))
    moved = make_account([ChamberReading(x.at.astimezone(zone), x.value_ml, x.u_reading_ml,
                                         x.scale, number=x.number) for x in readings], events)
    same = make_account(readings, events)
    assert [(i.output_ml, i.hours, i.u_ml) for i in moved.intervals] == [
        (i.output_ml, i.hours, i.u_ml) for i in same.intervals]


def test_a_reading_taken_away_leaves_the_sum_as_it_is():
    """A withdrawn middle reading changes two intervals into one, not the total."""
    all_three = make_account([r(0, "10"), r(1, "17"), r(2, "30")])
    two = make_account([r(0, "10"), r(2, "30")])
    assert all_three.total_ml == two.total_ml == 20


# --- the hour's result


def _hour(*more_readings, events=()):
    return make_account([r(0, "20.0", number=1), r(1, "28.0", number=2), *more_readings], events)


def test_a_total_that_an_emptying_ended_says_so():
    """20.0 at 08:00, 28.0 at 09:00, emptied at 09:01: the shift up to 09:30 takes the emptying in,
    six hours up to the reading do not; both are 8.0 mL, the first with more doubt."""
    a = _hour(events=[e(1 + 1 / 60, "chamber-emptied", number=3, before_ml="28.0", after_ml="0")])
    six, shift = window_total(a, t(-5), t(1)), window_total(a, t(0), t(1.5))
    assert six.output_ml == shift.output_ml == 8
    assert six.emptied_at is None and shift.emptied_at == t(1 + 1 / 60)
    assert shift.u_ml > six.u_ml
    assert window_total(a, t(0), t(1 + 1 / 120)).emptied_at is None
    assert "with the emptying at 09:01" in window(shift) and "emptying" not in window(six)


def test_an_emptying_does_not_replace_the_result_of_the_hour():
    """20.0 at 08:00, 28.0 at 09:00, emptied a minute later: 8.0 mL in 1 h = 8.0 mL/h."""
    a = _hour(events=[e(1 + 1 / 60, "chamber-emptied", number=3, before_ml="28.0", after_ml="0")])
    assert a.result == a.intervals[0]
    assert (a.result.output_ml, a.result.ml_per_hour) == (Decimal("8.0"), 8.0)
    assert a.total_ml == 8 and a.intervals[-1].ml_per_hour is None
    limits = Limits(ml_per_hour=Decimal(20), ml_per_six_hours=Decimal(60))
    assert findings(a, limits, t(1.1)) == (), "nothing of that minute is judged"
    assert [w.end for w in rolling(a)] == [t(1)]


def test_what_came_up_to_an_emptying_is_judged_when_it_can_be_measured():
    """28.0 at 09:00, emptied at 09:30 from 48: 4 + 20 = 24 mL in the hour to 09:30."""
    a = _hour(events=[e(1.5, "chamber-emptied", number=3, before_ml="48", after_ml="0")])
    (f,) = findings(a, Limits(ml_per_hour=Decimal(20)), t(1.5))
    assert f.verdict == "over" and "08:30 to 09:30: 24.0 mL in an hour" in f.sentence
    assert a.result.output_ml == 8


def test_a_second_reading_a_minute_later_belongs_to_the_same_hour():
    """28.0, a minute later 39.5: 690 mL/h as a rate of that minute, 19.5 mL in 61 min =
    19.18 mL/h in truth, and 59/60 * 8 + 11.5 = 19.367 mL in the hour."""
    a = _hour(r(1 + 1 / 60, "39.5", number=3))
    assert a.intervals[-1].ml_per_hour is None
    assert (a.result.start, a.result.output_ml) == (t(0), Decimal("19.5"))
    assert a.result.ml_per_hour == pytest.approx(19.5 / (61 / 60))
    assert a.result.u_ml == pytest.approx(a.uncertainty([(i, 1.0) for i in a.intervals]))
    assert findings(a, Limits(ml_per_hour=Decimal(25)), t(1.1)) == ()
    found = findings(a, Limits(ml_per_hour=Decimal(15)), t(1.1))
    assert [f.verdict for f in found] == ["over"] and "19.4 mL in an hour" in found[0].sentence


@pytest.mark.parametrize(("minutes", "ward", "told"), [
    (14, None, False), (15, None, True), (20, "30", False), (30, "30", True), (5, "5", True)])
def test_below_the_shortest_time_for_a_rate_none_is_told(minutes, ward, told):
    """15 min unless the ward's order names another time."""
    limits = limits_from({} if ward is None else {"rate_from_minutes": ward})
    a = make_account([r(0, "20"), r(minutes / 60, "22")],
                     rate_from_minutes=limits.rate_from_minutes)
    assert (a.result.ml_per_hour is not None) == told
    assert a.result.output_ml == 2
    assert (full_at(a, Decimal(50)) is not None) == told


def test_a_limit_on_an_hour_is_judged_by_what_came_in_an_hour():
    """6 mL in 15 min is 24 mL/h and 6 mL; 26 mL in 2 h is 13 mL in an hour on average."""
    limit = Limits(ml_per_hour=Decimal(20))
    assert findings(make_account([r(0, "20"), r(0.25, "26")]), limit, t(1)) == ()
    four = make_account([r(k / 4, str(20 + 6 * k)) for k in range(5)])
    assert [f.at for f in findings(four, limit, t(1)) if f.verdict == "over"] == [t(1)]
    assert findings(make_account([r(0, "20"), r(2, "46")]), limit, t(2)) == ()
    assert findings(make_account([r(0, "10"), r(2, "56")]), limit, t(2))[0].verdict == "over"


@pytest.mark.parametrize(("hours", "said"), [
    (1, "09:00: 56.0 mL in an hour"),
    (1 + 12 / 3600, "09:00, on average over 60.2 min: 55.8 mL in an hour"),
    (2, "10:00, on average over 2.0 h: 28.0 mL in an hour")])
def test_an_average_over_more_than_an_hour_is_called_one(hours, said):
    """56 mL in 1 h 12 s is 56 / 1.00333 = 55.8 mL in an hour, beside "08:00 to 09:00: 56.0 mL"."""
    (f,) = findings(make_account([r(0, "2"), r(hours, "58")]), Limits(ml_per_hour=Decimal(20)),
                    t(hours))
    assert said in f.sentence, f.sentence


def test_what_may_be_below_nothing_has_a_true_minus_sign_and_nought_has_none():
    """4.0 to 4.0 mL: nothing, give or take the readings' own doubt."""
    a = make_account([r(0, "4"), r(1, "4.0")])
    words = [window(window_total(a, t(0), t(1))), amount(a.intervals[0])]
    for text in words:
        assert "(\N{MINUS SIGN}" in text and "-" not in text, text
    assert tenths(-0.04) == tenths(Decimal("-0.0")) == "0.0"
    assert (tenths(-1.06), tenths(2)) == ("\N{MINUS SIGN}1.1", "2.0")
    (f,) = findings(a, Limits(ml_per_hour=Decimal("0.1")), t(1))
    assert "(\N{MINUS SIGN}" in f.sentence


def test_an_uncounted_interval_is_the_result_and_says_so():
    a = _hour(r(1.1, "12", number=3))
    assert a.result.last.number == 3 and not a.result.counted


def test_what_is_in_the_chamber_is_not_known_once_something_unread_was_taken_out():
    assert content_now(_hour()) == (t(1), Decimal("28.0"))
    emptied = [e(1.1, "chamber-emptied", number=3, before_ml="28")]
    assert content_now(_hour(events=emptied)) is None
    drawn = [e(1.1, "sample-taken", number=3, volume_ml="2.5", source="chamber")]
    assert content_now(_hour(events=drawn)) == (t(1), Decimal("25.5"))
    assert content_now(_hour(events=[e(1.1, "sample-taken", source="chamber")])) is None
    assert content_now(_hour(r(1.2, "1"), events=emptied)) == (t(1.2), Decimal(1))

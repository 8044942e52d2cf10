"""The plots: places by hand, round marks, both units at one height, nothing outside the frame."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.drawing.plot import Plot, plain_number, rounded, rows, spread, ticks, time_ticks
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, convert

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SVG = "{http://www.w3.org/2000/svg}"


def plot(low: float = 0, high: float = 10, hours: float = 10) -> Plot:
    return Plot((START, START + timedelta(hours=hours)), (low, high))


def tree(p: Plot, title: str = "words") -> ElementTree.Element:
    return ElementTree.fromstring(p.drawing(title).svg)


def test_places_by_hand():
    """40 px on the left, 12 on the right of 360; 34 above and 36 below of 216."""
    p = plot()
    assert p.x(START) == 40 and p.x(START + timedelta(hours=10)) == 348
    assert p.x(START + timedelta(hours=5)) == 194
    assert p.y(0) == 180 and p.y(10) == 34 and p.y(5) == 107


@pytest.mark.parametrize(("low", "high", "marks"), [
    (0, 10, [0, 5, 10]), (0, 50, [0, 20, 40]), (-2, 2, [-2, -1, 0, 1, 2]),
    (0, 0.9, [0, 0.2, 0.4, 0.6, 0.8]), (7.2, 12.9, [8, 9, 10, 11, 12]), (3, 3, [3]),
])
def test_marks_are_round(low, high, marks):
    assert ticks(low, high) == marks


@given(low=st.floats(-1e5, 1e5), span=st.floats(1e-3, 1e5), most=st.integers(3, 9))
def test_marks_are_few_and_inside(low, span, most):
    marks = ticks(low, low + span, most)
    assert 1 <= len(marks) <= most
    assert all(low - 1e-3 * span - 1e-6 <= m <= low + span * 1.001 + 1e-6 for m in marks)


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-30, 30), (-0.003, 0.004), (0, 100)])
def test_a_wide_plot_has_marks_enough(low, high):
    assert 3 <= len(ticks(low, high, 7)) <= 7


@pytest.mark.parametrize(("span", "wide"), [
    ((0.0, 31.3), (0, 40)), ((-10.4, 14.9), (-15, 15)), ((0.0, 0.0), (0, 1)), ((2.0, 9.0), (2, 10)),
])
def test_an_axis_ends_at_round_values(span, wide):
    assert rounded(*span) == pytest.approx(wide)


@given(minutes=st.integers(1, 60 * 24 * 60))
def test_hours_are_full_and_few(minutes):
    marks = time_ticks(START + timedelta(minutes=7), START + timedelta(minutes=7 + minutes))
    assert len(marks) <= 6 and all(m.minute == 0 for m in marks)


def test_hours_are_those_of_the_wards_wall_clock():
    zone = timezone(timedelta(hours=5, minutes=30))
    start = START.astimezone(zone)
    assert [f"{m:%H:%M}" for m in time_ticks(start, start + timedelta(hours=3))] == \
        ["14:00", "15:00", "16:00"]


def test_the_two_units_stand_at_the_same_height():
    """10 mmHg beside 13.6 cmH2O (133.322387415 / 98.0665 Pa, conventional values)."""
    p = plot(0, 20)
    p.other_y_axis(lambda v: convert(v, CM_H2O_CODE, MM_HG_CODE),
                   lambda v: convert(v, MM_HG_CODE, CM_H2O_CODE), "mmHg")
    y = re.search(r'y="([\d.]+)"[^>]*>10</text>', "".join(p.parts))
    assert y is not None
    assert float(y[1]) - 4 == pytest.approx(p.y(10 * 133.322387415 / 98.0665), abs=0.06)


def test_marks_stay_inside_lines_are_cut_and_all_is_well_formed():
    p = plot(-1, 1)
    p.head("a < b & c")
    for hours, value in ((-5, -50), (50, 50)):
        p.marks([(START + timedelta(hours=hours), value)])
        p.whisker(START + timedelta(hours=hours), -99, 99)
    p.area((START - timedelta(hours=1), START + timedelta(hours=99)), (0, 7))
    p.line([(START, -50.0), (START + timedelta(hours=10), 50.0)])
    p.y_axis()
    p.x_axis()
    drawn = tree(p, "5 < 6 & more")
    dots = list(drawn.iter(f"{SVG}circle"))
    assert [(float(d.get("cx")), float(d.get("cy"))) for d in dots] == [(40, 180), (348, 34)]
    (cut,) = list(drawn.iter(f"{SVG}svg"))[1:]
    assert [cut.get(k) for k in ("x", "y", "width", "height")] == ["40", "34", "308", "146"]
    assert [v.text for v in drawn.iter(f"{SVG}text")][0] == "a < b & c"
    assert drawn.get("role") == "img" and drawn[0].text == "5 < 6 & more"


@pytest.mark.parametrize("typed", ["a\x07b", "a\ud800b", "a\x00b"])
def test_a_character_that_xml_cannot_hold_does_not_take_the_drawing_away(typed):
    p = plot()
    p.head(typed)
    drawn = tree(p, typed)
    assert drawn[0].text == "a\N{REPLACEMENT CHARACTER}b" == next(drawn.iter(f"{SVG}text")).text


def test_a_line_keeps_its_slope_where_it_leaves_the_frame():
    """From (0, 0) to (10, 20) on an axis up to 10: half way across it is at the top."""
    p = Plot((0, 10), (0, 10))
    p.line([(0, 0), (10, 20)])
    (line,) = tree(p).iter(f"{SVG}path")
    (x0, y0), (x1, y1) = (tuple(map(float, pair.split())) for pair in line.get("d")[1:].split("L"))
    assert ((x0 + x1) / 2, (y0 + y1) / 2) == (p.x(5), p.y(10))


def test_what_is_beyond_an_axis_has_no_rule_and_rows_run_downward():
    p = Plot((0, 1), (0, 10))
    p.rule(11)
    assert p.parts == []
    names = rows((0, 1), ["first", "second"], left=100, step=20)
    assert names.y(0) == 22 and names.y(1) == 42
    names.rule(0.5, across="x")
    names.band(0.2, 0.4, "red", across="x")
    assert [e.get("height") for e in tree(names).iter(f"{SVG}rect")] == ["40"]


def test_axis_holds_the_values_and_zero():
    assert spread([5, 9])[0] == 0 and spread([5, 9])[1] > 9
    assert spread([-3, 4])[0] < -3 and 9 < spread([10, 12], zero=False)[0] < 10
    assert plain_number(-0.5) == "\N{MINUS SIGN}0.5"

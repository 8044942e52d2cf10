"""The plots: places by hand, round marks, both units at one height, nothing outside the frame."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.ui.shift.plot import HEIGHT, WIDTH, TimePlot, nice_marks, plain_number, spread, time_marks
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, convert

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def plot(low: float = 0, high: float = 10, hours: float = 10) -> TimePlot:
    return TimePlot(START, START + timedelta(hours=hours), low, high)


def test_places_by_hand():
    """40 px on the left, 12 on the right of 360; 34 above and 36 below of 216."""
    p = plot()
    assert p.x(START) == 40 and p.x(p.end) == 348 and p.x(START + timedelta(hours=5)) == 194
    assert p.y(0) == 180 and p.y(10) == 34 and p.y(5) == 107


@pytest.mark.parametrize(("low", "high", "marks"), [
    (0, 10, [0, 5, 10]), (0, 50, [0, 20, 40]), (-2, 2, [-2, -1, 0, 1, 2]),
    (0, 0.9, [0, 0.2, 0.4, 0.6, 0.8]), (7.2, 12.9, [8, 9, 10, 11, 12]), (3, 3, [3]),
])
def test_marks_are_round(low, high, marks):
    assert nice_marks(low, high) == marks


@given(low=st.floats(-1e5, 1e5), span=st.floats(1e-3, 1e5))
def test_marks_are_few_and_inside(low, span):
    marks = nice_marks(low, low + span)
    assert 1 <= len(marks) <= 5
    assert all(low - 1e-3 * span - 1e-6 <= m <= low + span * 1.001 + 1e-6 for m in marks)


@given(minutes=st.integers(1, 60 * 24 * 60))
def test_hours_are_full_and_few(minutes):
    marks = time_marks(START + timedelta(minutes=7), START + timedelta(minutes=7 + minutes))
    assert len(marks) <= 6 and all(m.minute == 0 for m in marks)


def test_hours_are_those_of_the_wards_wall_clock():
    zone = timezone(timedelta(hours=5, minutes=30))
    start = START.astimezone(zone)
    assert [f"{m:%H:%M}" for m in time_marks(start, start + timedelta(hours=3))] == \
        ["14:00", "15:00", "16:00"]


def test_the_two_units_stand_at_the_same_height():
    """10 mmHg beside 13.6 cmH2O (133.322387415 / 98.0665 Pa, conventional values)."""
    p = plot(0, 20)
    p.other_axis(lambda v: convert(v, CM_H2O_CODE, MM_HG_CODE),
                 lambda v: convert(v, MM_HG_CODE, CM_H2O_CODE), "mmHg")
    drawn = "".join(p.parts)
    y = re.search(r'y="([\d.]+)"[^>]*>10</text>', drawn)
    assert y is not None
    assert float(y[1]) - 4 == pytest.approx(p.y(10 * 133.322387415 / 98.0665), abs=0.06)


def test_everything_stays_inside_and_is_well_formed():
    p = plot(-1, 1)
    p.head("a < b & c")
    for hours, value in ((-5, -50), (50, 50)):
        p.mark(START + timedelta(hours=hours), value)
        p.whisker(START + timedelta(hours=hours), -99, 99)
    p.block(START - timedelta(hours=1), START + timedelta(hours=99), 7)
    p.value_axis()
    p.time_axis()
    tree = ElementTree.fromstring(p.drawing("words").svg)
    for node in tree.iter():
        for name, most in (("cx", WIDTH), ("cy", HEIGHT)):
            if name in node.attrib:
                assert 0 <= float(node.attrib[name]) <= most


def test_axis_holds_the_values_and_zero():
    assert spread([5, 9])[0] == 0 and spread([5, 9])[1] > 9
    assert spread([-3, 4])[0] < -3 and 9 < spread([10, 12], zero=False)[0] < 10
    assert plain_number(-0.5) == "\N{MINUS SIGN}0.5"

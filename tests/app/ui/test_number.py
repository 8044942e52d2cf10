"""Numbers as typed at the bedside: decimal comma, nothing guessed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.ui.number import decimals_for, parse_decimal, show_number, within


@pytest.mark.parametrize(
    ("text", "value", "digits"),
    [("23.5", 23.5, "23.5"), ("23,5", 23.5, "23.5"), (" 23,50 mL ", 23.5, "23.50"),
     ("23", 23.0, "23"), (",5", 0.5, ".5"), ("\u22123,5", -3.5, "-3.5"), ("+4", 4.0, "4"),
     ("-0,0", 0.0, "0.0")])
def test_a_plain_number_is_read_with_comma_or_point(text, value, digits):
    typed = parse_decimal(text, "mL")
    assert (typed.value, typed.text, typed.problem) == (value, digits, "")


@pytest.mark.parametrize(
    "text", ["1,234.5", "1.234,5", "1e3", "nan", "inf", "23 5", "23..5", "-", "twelve", "0x1F",
             "\u0662\u0663", "23.5 cm", "1234567", "2\u00b2", "23.", "23,"])
def test_anything_else_is_refused_with_a_sentence(text):
    typed = parse_decimal(text, "mL")
    assert typed.value is None
    assert typed.text == ""
    assert typed.problem.endswith(".")


def test_an_empty_field_is_no_mistake():
    assert parse_decimal("   ").value is None
    assert parse_decimal("").problem == ""


@given(st.decimals(min_value=0, max_value=99999, places=3))
def test_what_is_typed_is_what_is_meant(number):
    for text in (f"{number}", f"{number}".replace(".", ",")):
        assert parse_decimal(text).text == f"{number}"


def test_bounds_are_named():
    assert within(parse_decimal("234"), 0, 66, "mL").problem == \
        "This has to be at least 0 and at most 66 mL."
    assert within(parse_decimal("66"), 0, 66, "mL").value == 66


@pytest.mark.parametrize(
    ("division", "places"), [(10, 0), (5, 1), (2, 1), (1, 1), (0.5, 2), (0.1, 2), (0.05, 3)])
def test_a_tenth_of_a_division_is_shown(division, places):
    assert decimals_for(division) == places


def test_signs_are_true_signs_and_zero_has_none():
    assert show_number(-0.44, 1, signed=True) == "\u22120.4"
    assert show_number(0.44, 1, signed=True) == "+0.4"
    assert show_number(-0.04, 1, signed=True) == "0.0"

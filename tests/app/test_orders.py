"""Orders: what has to be typed, and slips of the unit that were really printed."""

from decimal import Decimal

import pytest

from app.orders import LIMITS, Order, limits_question, unit_question
from vision.errors import InputError
from vision.output.limits import LIMIT_NAMES

CM, HG = "cm[H2O]", "mm[Hg]"


def order(**changes):
    return Order(**({"landmark": "ear canal", "threshold": Decimal(10), "unit": CM} | changes))


def test_order_is_said_in_both_units():
    assert order().sentence == ("Landmark: ear canal; threshold 10 cmH2O as written, that is "
                                "10.0 cmH2O (7.4 mmHg); drain continuously; it names "
                                "nobody to tell; it names no limit.")
    assert "13.6 cmH2O (10.0 mmHg)" in order(unit=HG).sentence
    assert "\N{MINUS SIGN}5.0 cmH2O" in order(threshold=Decimal(-5)).sentence


@pytest.mark.parametrize("changes, words", [
    ({"landmark": "  "}, "landmark"),
    ({"unit": None}, "unit"),
    ({"threshold": None}, "unit"),
    ({"unit": "cm"}, "cm\\[H2O\\] or mm\\[Hg\\]"),
    ({"drain": "by volume"}, "how much"),
    ({"drain": "sometimes"}, "how to drain"),
])
def test_what_is_missing_is_asked_for(changes, words):
    with pytest.raises(InputError, match=words):
        order(**changes)


def test_order_without_a_threshold_is_possible():
    written = order(threshold=None, unit=None, drain="by volume", drain_volume="10 mL every hour")
    assert written.threshold_cm_h2o is None
    assert "by volume (10 mL every hour)" in written.sentence


def test_draft_carries_the_order_as_written():
    draft = order(limits={"ml_per_hour": Decimal(20)}, tell_whom="surgeon on call").draft()
    fields = draft.fields()
    assert fields["confirmed_value"] == Decimal(10) and fields["unit"] == CM
    assert fields["payload"]["landmark"] == "ear canal"
    assert fields["payload"]["tell_whom"] == "surgeon on call"


def test_the_sentence_to_confirm_names_whom_to_tell_and_every_limit_in_the_order_s_sequence():
    written = order(tell_whom="the doctor on call", limits={
        "level_due_minutes": Decimal(240), "chamber_full_ml": Decimal(45),
        "ml_per_hour": Decimal("10.50"), "nothing_drained_hours": Decimal(2)})
    assert written.sentence.endswith(
        "drain continuously; tell the doctor on call; at most 10.50 mL in an hour; tell when "
        "nothing comes for 2 h; empty the chamber at 45 mL; check the level every 240 min.")


def test_every_limit_that_can_be_kept_can_be_said():
    assert tuple(LIMITS) == LIMIT_NAMES
    for name, words in LIMITS.items():
        assert "7.5" in order(limits={name: Decimal("7.5")}).sentence
        assert words.unit in words.phrase


@pytest.mark.parametrize(("limits", "word"), [
    ({"ml_per_hour": "1000"}, "at most in an hour 1000 mL"),
    ({"reading_due_minutes": "10080"}, "read the chamber every 10080 min"),
    ({"chamber_full_ml": "0.5"}, "empty the chamber at 0.5 mL"),
    ({"ml_per_hour": "20", "ml_per_six_hours": "15"}, "more than at most 15 mL in six hours"),
    ({"ml_per_hour": "50", "ml_per_shift": "40"}, "more than at most 40 mL in a shift"),
])
def test_limits_of_an_absurd_size_are_asked_about(limits, word):
    asked = limits_question({k: Decimal(v) for k, v in limits.items()})
    assert word in asked[0].lower() + asked[1:]


def test_ordinary_limits_are_not_asked_about():
    """10 to 20 mL an hour are usual; a knowledge test of 828 nurses took 30 mL in an hour as
    the one at which to call (neurotrauma nursing test, 2015)."""
    assert limits_question({"ml_per_hour": Decimal(30), "ml_per_shift": Decimal(160),
                            "reading_due_minutes": Decimal(60)}) == ""
    assert limits_question({}) == ""


# ------------------------------------------------------------------ unit slips


def test_printed_slip_one_mm_hg_is_13_6_cm_h2o():
    # A trauma database syllabus (v10.3, 2006) prints "1 mmHg = 13.6 cmH2O": ten times too
    # big.  Somebody who converts 10 mmHg with it orders 136 cmH2O.
    asked = unit_question(136, CM, other_value=10, other_unit=HG)
    assert asked is not None and asked.ratio == pytest.approx(10, rel=0.01)
    alone = unit_question(13.6, CM, other_value=1, other_unit=HG)
    assert alone.ratio == pytest.approx(10, rel=0.01)
    assert unit_question(136, CM) is not None, "even alone it is far from ordinary orders"


@pytest.mark.parametrize("value, unit, other_value, other_unit", [
    (10, CM, 10, HG),        # same number, other unit
    (10, HG, 10, CM),
    (14, HG, 10, HG),        # converted, but the old unit left standing (13.6 -> 14)
    (20, HG, 15, HG),        # 15 mmHg = 20.4 cmH2O
    (11, CM, 15, CM),        # 15 cmH2O = 11.0 mmHg
    (204, CM, 15, HG),       # the decimal point lost in 20.4
    (1.1, HG, 11, HG),       # ten times
    (-5, CM, -5, HG),        # negative orders as well
    (13.6, CM, 136, CM),
])
def test_slips_are_asked_about(value, unit, other_value, other_unit):
    asked = unit_question(value, unit, other_value=other_value, other_unit=other_unit)
    assert asked is not None
    assert asked.sentence.count("cmH2O") >= 1 and asked.sentence.count("mmHg") >= 1
    assert asked.sentence.endswith("?")


@pytest.mark.parametrize("value, unit, other_value, other_unit", [
    (10, CM, 10, CM),
    (13.6, CM, 10, HG),      # rightly converted
    (20, CM, 15, HG),        # rightly converted, rounded
    (15, CM, 10, CM),        # an ordinary change of the order
    (5, CM, 10, CM),
    (0, CM, 10, HG),         # open at the landmark: zero has no ratio
    (-5, CM, 5, CM),
    (18, CM, None, None),
])
def test_ordinary_orders_are_not_asked_about(value, unit, other_value, other_unit):
    assert unit_question(value, unit, other_value=other_value, other_unit=other_unit) is None


def test_a_question_needs_a_known_unit():
    with pytest.raises(InputError):
        unit_question(10, "cm")

"""Two readings of one chamber: like is compared with like."""

from __future__ import annotations

import numpy as np
import pytest
from records_help import SCALE, seen

from app.agreement import Agreement, compare_readings, largest_difference, verdict_of
from vision.reading import VolumeReading


def off(status: str) -> VolumeReading:
    return VolumeReading(status, "mL", 1.0, "pier-60")  # type: ignore[arg-type]


def compared(own: float, reading: VolumeReading) -> Agreement:
    found = compare_readings(own, reading, SCALE)
    assert found is not None
    return found


def test_the_allowance_is_the_root_of_the_sum_of_squares():
    """By hand: a rectangle of half-width 0.5 has 0.28868, a 95 % interval of half-width 0.4 comes
    from 0.20409; together 0.35354, times 1.95996 (rules of JCGM 100:2008, 4.3.7 and 5.1.2)."""
    assert largest_difference(20.0, 20.3, (19.6, 20.4), 1.0) == pytest.approx(0.69292, abs=2e-5)


def test_the_allowance_holds_ninety_five_of_a_hundred_honest_pairs():
    """Simulated (JCGM 101): an eye off evenly by half a division, a tool off as it says."""
    rng = np.random.default_rng(11)
    u_tool = 0.25
    eye = rng.uniform(-0.5, 0.5, 100_000)
    tool = rng.normal(0.0, u_tool, 100_000)
    limit = largest_difference(0.0, 0.1, (-1.959964 * u_tool, 1.959964 * u_tool), 1.0)
    assert 0.94 < np.mean(np.abs(eye - tool) <= limit) < 0.98


@pytest.mark.parametrize(("own", "value", "verdict"), [
    (12.0, 11.7, "agree"),  # outside the tool's narrow interval, and as good as an eye can
    (12.0, 12.0, "agree"), (12.0, 12.9, "differ"), (12.0, 13.0, "differ"),
    (12.0, 13.01, "second-look"), (12.5, 23.4, "second-look"), (23.4, 12.5, "second-look")])
def test_a_division_apart_asks_for_a_second_look_and_a_third_of_one_agrees(own, value, verdict):
    assert verdict_of(own, value, (value - 0.2, value + 0.2), 1.0) == verdict


def test_what_counts_is_divisions_and_not_millilitres():
    assert verdict_of(4.4, 4.0, (3.95, 4.05), 0.2) == "second-look"
    assert verdict_of(44.0, 40.0, (39.5, 40.5), 5.0) == "differ"
    assert verdict_of(42.0, 40.0, (39.5, 40.5), 5.0) == "agree"


def test_a_wide_interval_of_the_tool_does_not_excuse_more_than_a_division():
    found = compared(22.0, seen(20.0, half=4.0))
    assert found.second_look and "2.0 divisions" in found.sentence


def test_the_sentences_say_which_way_and_what_to_do():
    said = [compared(own, seen(23.4, half=0.2)).sentence for own in (23.5, 24.2, 22.6, 12.5)]
    assert said[0] == "The two readings agree."
    assert said[1].startswith("Yours is higher, by more than") and "lower" in said[2]
    assert said[3].startswith("Yours is lower by 10.9 divisions. Look at the chamber again")


@pytest.mark.parametrize(("own", "status", "second_look"), [
    (12.0, "below-scale", True), (60.0, "below-scale", True), (0.6, "below-scale", True),
    (0.0, "below-scale", False), (0.4, "below-scale", False),
    (12.0, "above-scale", True), (59.4, "above-scale", True), (0.0, "above-scale", True),
    (60.0, "above-scale", False), (62.0, "above-scale", False)])
def test_on_the_scale_for_the_one_and_off_it_for_the_other(own, status, second_look):
    assert compared(own, off(status)).second_look is second_look


def test_off_the_scale_for_the_person_and_on_it_for_the_tool():
    assert compared(60.7, seen(59.9, half=0.3)).second_look
    assert not compared(60.4, seen(59.9, half=0.3)).second_look


def test_a_refusal_says_nothing_to_compare_with():
    assert compare_readings(12.0, off("refused"), SCALE) is None

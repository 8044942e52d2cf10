"""What a level reading says: decision, words, JSON."""

from __future__ import annotations

import pytest

from vision.budget import BudgetTerm
from vision.level.result import LevelReading


def reading(low: float, high: float, tolerance: float | None = None) -> LevelReading:
    return LevelReading("read", "cards", (low + high) / 2, (low, high), (high - low) / 4,
                        tolerance_cm=tolerance, gravity_from=("pole",),
                        budget=(BudgetTerm("vertical: pole", 0.3, "cm"),))


@pytest.mark.parametrize("low, high, tolerance, decision", [
    # JCGM 106:2012, clause 8 (guard bands): accept only when the whole interval conforms.
    (-4.1, -2.7, None, "raise"), (2.7, 4.1, None, "lower"), (-0.4, 0.9, None, "cannot tell"),
    (-4.1, -2.7, 1.0, "raise"), (2.7, 4.1, 1.0, "lower"),
    (-0.9, 0.8, 1.0, "level"), (-1.0, 1.0, 1.0, "level"),
    (-1.1, 0.8, 1.0, "cannot tell"), (0.4, 1.3, 1.0, "cannot tell"),
    (-1.8, -0.9, 1.0, "cannot tell"), (-3.0, 3.0, 1.0, "cannot tell"),
])
def test_decision(low, high, tolerance, decision):
    assert reading(low, high, tolerance).decision == decision


def test_a_refusal_decides_nothing():
    r = LevelReading("refused", "cards", reasons=("The zero card was not found.",))
    assert (r.decision, r.action) == ("cannot tell", "cannot tell")
    assert r.sentence == "Cannot tell: The zero card was not found. Level it by your usual method."


@pytest.mark.parametrize("r, words", [
    (reading(-4.1, -2.7), "The system hangs 3.4 cm too low (2.7 to 4.1): raise it 3.4 cm."),
    (reading(1.2, 2.8), "The system hangs 2.0 cm too high (1.2 to 2.8): lower it 2.0 cm."),
    (reading(-0.9, 0.7, 1.0),
     "Level within the ward's tolerance of 1.0 cm: 0.1 cm too low (0.9 too low to 0.7 too high)."),
    (reading(-1.5, 0.5, 1.0),
     "Cannot tell: 0.5 cm too low (1.5 too low to 0.5 too high) does not settle whether it is"
     " level; level it by your usual method."),
])
def test_sentence(r, words):
    assert r.sentence == words


@pytest.mark.parametrize("r, action", [
    (reading(-4.1, -2.7), "raise 3.4 cm"), (reading(1.2, 2.8), "lower 2.0 cm"),
    (reading(-0.2, 0.2, 0.5), "level"), (reading(-2, 2), "cannot tell")])
def test_action_in_the_words_of_the_contract(r, action):
    assert r.action == action


def test_json_has_exactly_the_keys_of_the_contract():
    found = reading(-4.1, -2.7).as_json()
    assert list(found) == ["kind", "status", "offset_cm", "interval_cm", "coverage",
                           "gravity_from", "action", "flags", "reasons", "budget", "strategy"]
    assert found["offset_cm"] == -3.4 and found["interval_cm"] == [-4.1, -2.7]
    assert found["budget"][0]["term"] == "vertical: pole"
    empty = LevelReading("refused", "tap").as_json()
    assert empty["offset_cm"] is None and empty["interval_cm"] is None

"""Numbers that stand in marks which run round the tube, where those are broken for them."""

from __future__ import annotations

import pytest
from numbered_rings import ALL_ROUND, LABELLED, SCALE, fitted, ten_marks_too_far, unnumbered

from vision.graduations.numeral_evidence import check_numerals
from vision.graduations.numeral_reader import read_numerals
from vision.graduations.numerals_in_rings import patches_in_rings


@pytest.mark.slow
@pytest.mark.parametrize("at_deg", [-35.0, -5.0, 18.0])
def test_numbers_are_read_where_the_rings_are_broken(at_deg):
    """Marks that run round have no end beside which a number could stand: none was looked for."""
    fit = fitted(at_deg)
    assert fit.runs_round("long")
    side, patches = patches_in_rings(fit, LABELLED)[0]
    assert side == (-1 if at_deg < -10 else side)
    texts = [SCALE.marks[i].text for i in LABELLED]
    read = [p.text for p in read_numerals(patches, [texts] * len(patches)).patches]
    assert sum(a == b for a, b in zip(read, texts, strict=True)) >= len(texts) - 1
    check = check_numerals(fit)
    assert check.verdict == "agree" and check.readable >= 5


@pytest.mark.slow
def test_numbers_of_another_place_are_found_out():
    """Rows numbered ten marks too far: what stands in the rings says so."""
    fit = fitted(-5.0)
    assert check_numerals(ten_marks_too_far(fit)).verdict != "agree"


@pytest.mark.slow
def test_marks_with_ends_have_no_numbers_in_them():
    fit = unnumbered()
    assert not fit.runs_round("long")
    assert patches_in_rings(fit, LABELLED) == []


@pytest.mark.slow
def test_unbroken_rings_show_no_number():
    fit = unnumbered(**ALL_ROUND)
    assert fit.runs_round("long")
    for _, patches in patches_in_rings(fit, LABELLED):
        read = read_numerals(patches, [["5", "10"]] * len(patches)).patches
        assert not any(p.text and p.confidence > 0.5 for p in read)
    assert check_numerals(fit).verdict == "unread"

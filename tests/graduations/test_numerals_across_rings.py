"""Numbers printed across marks that run round the tube without a break."""

from __future__ import annotations

import pytest
from numbered_rings import ALL_ROUND, LABELLED, SCALE, fitted, ten_marks_too_far, unnumbered

from vision.graduations.numeral_evidence import check_numerals
from vision.graduations.numeral_reader import read_numerals
from vision.graduations.numerals_across_rings import patches_across_rings

TEXTS = [SCALE.marks[i].text for i in LABELLED]


@pytest.mark.slow
@pytest.mark.parametrize(("at_deg", "tall_mm"), [(-35.0, 3.0), (-5.0, 3.6), (18.0, 2.6)])
def test_numbers_are_read_although_rings_run_through_them(at_deg, tall_mm):
    """A ring through its middle and others through its ends make anything of a digit."""
    fit = fitted(at_deg, tall_mm=tall_mm, free_mm=None)
    assert fit.runs_round("long")
    ((side, marks, patches),) = patches_across_rings(fit, LABELLED)
    assert marks == LABELLED and side == (-1 if at_deg < -10 else side)
    read = [p.text for p in read_numerals(patches, [TEXTS] * len(patches)).patches]
    assert sum(a == b for a, b in zip(read, TEXTS, strict=True)) >= len(TEXTS) - 2
    assert check_numerals(fit).verdict == "agree"


@pytest.mark.slow
def test_numbers_of_another_place_are_found_out():
    """Rows numbered ten marks too far: what stands across the rings says so."""
    fit = fitted(-5.0, free_mm=None)
    assert check_numerals(ten_marks_too_far(fit)).verdict != "agree"


@pytest.mark.slow
def test_where_no_number_stands_across_the_rings_none_is_read():
    fit = unnumbered(**ALL_ROUND)
    assert patches_across_rings(fit, LABELLED) == []


@pytest.mark.slow
def test_short_marks_have_no_numbers_across_them():
    fit = unnumbered()
    assert patches_across_rings(fit, LABELLED) == []

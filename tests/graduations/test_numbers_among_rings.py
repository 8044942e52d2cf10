"""Numbers read with the rings that run through them left in place, at every mark."""

from __future__ import annotations

from dataclasses import replace

import pytest
from numbered_rings import ALL_ROUND, LABELLED, SCALE, fitted, unnumbered

from vision.graduations.numbers_among_rings import numbers_among_rings

TEXTS = sorted({SCALE.marks[i].text for i in LABELLED})


def moved(fit, marks: float):
    """The same row, its numbering so many marks too far; they may be parts of one."""
    params = fit.pose.params.copy()
    params[1] += marks * fit.evidence.step_mm
    return replace(fit, pose=fit.pose.with_params(params))


@pytest.mark.slow
@pytest.mark.parametrize(("at_deg", "tall_mm"), [(-35.0, 3.0), (-5.0, 3.6), (18.0, 2.6)])
def test_numbers_prove_the_numbering_with_the_rings_left_in_place(at_deg, tall_mm):
    found = numbers_among_rings(fitted(at_deg, tall_mm=tall_mm, free_mm=None), TEXTS)
    assert found is not None and found.shift == 0
    assert found.readable >= len(LABELLED) - 2
    assert found.side == (-1 if at_deg < -10 else found.side)
    read = {SCALE.marks[i].text: text for i, text, _ in found.labels}
    assert sum(printed == text for printed, text in read.items()) >= len(read) - 2


@pytest.mark.slow
@pytest.mark.parametrize("marks", [-2, -1, 1, 2])
def test_a_row_numbered_some_marks_too_far_is_found_out_by_as_many(marks):
    """Marks that all look alike do not tell; a number is read from one mark beside its own, too,
    and is told from its neighbour by where its middle lies."""
    found = numbers_among_rings(moved(fitted(-35.0, free_mm=None), marks), TEXTS)
    assert found is not None and found.shift == -marks


@pytest.mark.slow
def test_numbers_half_way_between_two_marks_prove_neither():
    assert numbers_among_rings(moved(fitted(-35.0, free_mm=None), 0.5), TEXTS) is None


@pytest.mark.slow
def test_without_numbers_nothing_is_proved():
    assert numbers_among_rings(unnumbered(**ALL_ROUND), TEXTS) is None


@pytest.mark.slow
def test_numbers_of_another_scale_prove_nothing():
    """None of what is printed is a number of the chosen scale, though its marks lie alike."""
    marks = tuple(replace(m, value=m.value + 3.0) for m in SCALE.marks)
    others = sorted({marks[i].text for i in LABELLED})
    assert not set(others) & set(TEXTS)
    fit = replace(fitted(-35.0, free_mm=None), scale=replace(SCALE, marks=marks))
    assert numbers_among_rings(fit, others) is None


@pytest.mark.slow
def test_marks_that_do_not_run_round_are_read_beside_themselves():
    assert numbers_among_rings(unnumbered(), TEXTS) is None

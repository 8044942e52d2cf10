"""Numbers printed across marks that run round the tube without a break."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_ladders import camera_towards, paint_tube, printed
from numbered_rings import FOCAL, LABELLED, SCALE, SIZE, fitted

from vision.graduations.fit import fit_graduations
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
    params = fit.pose.params.copy()
    params[1] += 10 * fit.evidence.step_mm
    seen = fit.seen.copy()
    seen[:2] = False
    wrong = replace(fit, pose=fit.pose.with_params(params), seen=seen)
    assert check_numerals(wrong).verdict != "agree"


@pytest.mark.slow
def test_where_no_number_stands_across_the_rings_none_is_read():
    reach = np.radians(80.0)
    camera = camera_towards(4.0, 230.0, (0, 0, 42.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm,
                      printed(SCALE, short=(-reach, reach), long=(-reach, reach)))
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None and patches_across_rings(fit, LABELLED) == []


@pytest.mark.slow
def test_short_marks_have_no_numbers_across_them():
    camera = camera_towards(4.0, 230.0, (0, 0, 42.0), focal_px=FOCAL, size=SIZE)
    grey = paint_tube(camera, SIZE, SCALE.outer_radius_mm, printed(SCALE))
    fit = fit_graduations(grey, SCALE, focal=(FOCAL, 0.02))
    assert fit is not None and patches_across_rings(fit, LABELLED) == []

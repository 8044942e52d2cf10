"""Columns of fluid against sums done by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision import hydrostatics as h


def test_one_centimetre_of_csf():
    # 1.00059 g/mL x 9.80665 m/s2 x 1 cm, by hand: 98.124 Pa, 1.0006 cmH2O, 0.736 mmHg.
    assert h.column_pressure_pa(1, h.density_kg_m3("csf", 37)) == pytest.approx(98.124, abs=1e-3)
    assert h.column_cm_h2o(1) == pytest.approx(1.0006, abs=1e-4)
    assert h.column_mm_hg(1) == pytest.approx(0.736, abs=5e-4)


@pytest.mark.parametrize("height_cm, mm_hg", [
    (1, 0.74), (2, 1.47), (3, 2.21), (5, 3.68), (10, 7.36), (13.6, 10.0),
])
def test_error_table(height_cm, mm_hg):
    # By hand: 0.7356 mm[Hg] for each cm of conventional water.
    assert h.column_mm_hg(height_cm) == pytest.approx(mm_hg, abs=0.011)
    # A transducer that far too high shows that much too little; too low, too much.
    assert h.transducer_error_mm_hg(height_cm) == pytest.approx(-mm_hg, abs=0.011)
    assert h.transducer_error_mm_hg(-height_cm) == pytest.approx(mm_hg, abs=0.011)


def test_taking_the_fluid_for_water_costs_little():
    # By hand: cerebrospinal fluid +0.06 %, water at 37 degC -0.67 %, saline +0.46 %.
    assert h.column_cm_h2o(100, "csf", 37) == pytest.approx(100.06, abs=0.005)
    assert h.column_cm_h2o(100, "water", 37) == pytest.approx(99.33, abs=0.005)
    assert h.column_cm_h2o(100, "saline", 20) == pytest.approx(100.46, abs=0.005)


def test_pressure_lost_in_the_line():
    # By hand from the code's own limit of 3.5 mmHg/(mL/min): 20/60 and 7.5/60 of it.
    assert h.line_pressure_drop_mm_hg(20) == pytest.approx(1.17, abs=0.005)
    assert h.line_pressure_drop_mm_hg(7.5) == pytest.approx(0.44, abs=0.005)


@pytest.mark.slow
@given(st.floats(-60, 90), st.floats(0, 40))
def test_height_and_pressure_are_inverse(height_cm, temperature_c):
    p = h.column_cm_h2o(height_cm, "csf", temperature_c)
    assert h.height_for_pressure_cm(p, "csf", temperature_c) == pytest.approx(height_cm, abs=1e-9)

"""Columns, units and thresholds against standards, handbooks and sums done by hand."""

import math

import numpy as np
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from vision import hydrostatics as h
from vision.budget import NORMAL_95
from vision.errors import InputError

CM, HG = h.CM_H2O_CODE, h.MM_HG_CODE

# ---------------------------------------------------------------- units


def test_conventional_units_of_the_standards():
    # NIST SP 811 (2008), appendix B.8: centimetre of water, conventional 9.80665 E+01 Pa;
    # millimetre of mercury, conventional 1.333224 E+02 Pa (printed to seven digits).
    assert h.PASCAL_PER[CM] == 98.0665
    assert h.PASCAL_PER[HG] == pytest.approx(133.3224, abs=5e-5)
    # CODATA through scipy: torr = atm/760 and mmHg agree to 1.5e-7.
    assert h.PASCAL_PER[HG] == pytest.approx(scipy.constants.torr, rel=2e-7)
    assert h.PASCAL_PER[CM] == pytest.approx(scipy.constants.g * 1000 / 100, rel=1e-15)
    assert h.PASCAL_PER[HG] == pytest.approx(13595.1 * scipy.constants.g / 1000, rel=1e-12)


@pytest.mark.parametrize("mm_hg, cm_h2o", [
    (1, 1.35951), (10, 13.595), (15, 20.393), (20, 27.190), (22, 29.909), (0, 0), (-5, -6.798),
])
def test_table_of_ordinary_pressures(mm_hg, cm_h2o):
    # By hand: mm[Hg] x 13.5951 / 10.
    assert h.convert(mm_hg, HG, CM) == pytest.approx(cm_h2o, abs=6e-4)
    assert h.convert(h.convert(mm_hg, HG, CM), CM, HG) == pytest.approx(mm_hg, abs=1e-12)


@pytest.mark.parametrize("typed, code", [
    ("cm[H2O]", CM), ("cmH2O", CM), ("cm H2O", CM), ("CMH2O", CM), ("cmH\u2082O", CM),
    ("mm[Hg]", HG), ("mmHg", HG), ("mm Hg", HG), ("mmhg", HG), ("kPa", "kPa"),
])
def test_units_as_people_type_them(typed, code):
    assert h.unit_code(typed) == code


@pytest.mark.parametrize("typed", ["cm", "mm", "", "mmH2O", "cmHg", "Torr?", "mL"])
def test_a_unit_is_never_guessed(typed):
    with pytest.raises(InputError, match="order"):
        h.unit_code(typed)


# ---------------------------------------------------------------- density


@pytest.mark.parametrize("temperature_c, density", [
    (4, 999.975), (20, 998.207), (22, 997.773), (25, 997.047), (30, 995.649), (37, 993.329),
])
def test_water_density_table(temperature_c, density):
    # Tanaka et al., Metrologia 2001;38:301 (recommended table, kg/m3).
    assert h.water_density_kg_m3(temperature_c) == pytest.approx(density, abs=0.0011)


@pytest.mark.parametrize("temperature_c", [0.02, 5, 15, 25, 33, 40])
def test_water_density_against_iapws(temperature_c):
    """Against iapws, an independent implementation of IAPWS R6-95."""
    iapws = pytest.importorskip("iapws")
    other = iapws.IAPWS95(T=temperature_c + 273.15, P=0.101325).rho
    assert h.water_density_kg_m3(temperature_c) == pytest.approx(other, abs=0.008)


def test_density_of_csf_and_saline():
    # Can J Anaesth 1998 (PMID 9597201): 1.00059 g/mL at 37 degC.
    assert h.density_kg_m3("csf", 37) == pytest.approx(1000.59, abs=1e-9)
    # Reference tables: 0.9 % saline 1.0046 g/mL at 22 degC.
    assert h.density_kg_m3("saline", 22) == pytest.approx(1004.6, abs=1e-9)
    # 1 % saline is 1.0053 at 20 degC (A = 0.22 kg/m3/K): 0.9 % lies between water and that.
    assert 998.2 < h.density_kg_m3("saline", 20) < 1005.4
    with pytest.raises(InputError):
        h.density_kg_m3("csf", 60)
    with pytest.raises(InputError):
        h.density_kg_m3("tea", 20)


# ---------------------------------------------------------------- columns


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
    assert h.column_cm_h2o(100, "saline", 22) == pytest.approx(100.46, abs=0.005)


def test_pressure_lost_in_the_line():
    # Czosnyka et al., Neurosurgery 2003;52:619: below 3.5 mmHg/(mL/min), so at most
    # 1.17 mmHg at 20 mL/h and 0.44 mmHg at 7.5 mL/h.
    assert h.line_pressure_drop_mm_hg(20) == pytest.approx(1.17, abs=0.005)
    assert h.line_pressure_drop_mm_hg(7.5) == pytest.approx(0.44, abs=0.005)


@given(st.floats(-60, 90), st.floats(0, 40))
def test_height_and_pressure_are_inverse(height_cm, temperature_c):
    p = h.column_cm_h2o(height_cm, "csf", temperature_c)
    assert h.height_for_pressure_cm(p, "csf", temperature_c) == pytest.approx(height_cm, abs=1e-9)


# ---------------------------------------------------------------- thresholds


@pytest.mark.parametrize("setting, unit, offset_cm, cm_h2o, mm_hg", [
    # Sums by hand with 1 cm = 1.0006 cmH2O = 0.7360 mmHg.
    (10, CM, 0, 10.0, 7.4),
    (10, CM, -3, 7.0, 5.2),
    (10, CM, 3, 13.0, 9.6),
    (15, CM, -13.6, 1.4, 1.0),
    (10, HG, 0, 13.6, 10.0),
    (10, HG, -3, 10.6, 7.8),
    (0, CM, -2, -2.0, -1.5),
    (-5, CM, 2, -3.0, -2.2),
    (-5, HG, 0, -6.8, -5.0),
    (20, CM, 5, 25.0, 18.4),
])
def test_effective_threshold_table(setting, unit, offset_cm, cm_h2o, mm_hg):
    t = h.effective_threshold(setting, unit, offset_cm)
    assert t.value_cm_h2o == pytest.approx(cm_h2o, abs=0.06)
    assert h.convert(t.value_cm_h2o, CM, HG) == pytest.approx(mm_hg, abs=0.06)
    assert t.interval_cm_h2o is None, "an unknown uncertainty is not a small one"


def test_direction_words():
    assert "drains more than ordered" in h.effective_threshold(10, CM, -3).sentence
    assert "drains less than ordered" in h.effective_threshold(10, CM, 3).sentence
    assert h.effective_threshold(10, CM, 0).direction == "level"
    either = h.effective_threshold(10, CM, 0.1, offset_interval_cm=(-0.5, 0.7))
    assert either.direction == "either way"
    assert "0.5 cm too low and 0.7 cm too high" in either.sentence


def test_interval_against_a_monte_carlo():
    """JCGM 101:2008: draw the inputs and look at the middle 95 %."""
    rng = np.random.default_rng(20250114)
    n = 200_000
    t = h.effective_threshold(10, HG, -3, offset_interval_cm=(-4.2, -1.8), setting_sd_cm=0.3)
    offset = rng.normal(-3, 1.2 / NORMAL_95, n)
    setting = rng.normal(13.5951, 0.3, n)
    density = rng.uniform(1000.59 - 4.87, 1000.59 + 4.87, n) + rng.normal(0, 0.2, n)
    gravity = rng.uniform(9.80665 - 0.026, 9.80665 + 0.026, n)
    drawn = density * gravity * (setting + offset) / 100 / 98.0665
    assert t.interval_cm_h2o == pytest.approx(np.percentile(drawn, [2.5, 97.5]), abs=0.02)
    combined = sum(b.standard_uncertainty**2 for b in t.budget)
    assert combined == pytest.approx(np.var(drawn), rel=0.02)


def test_the_two_halves_of_an_interval_may_differ():
    t = h.effective_threshold(10, CM, -3, offset_interval_cm=(-5, -2.5))
    low, high = t.interval_cm_h2o
    assert t.value_cm_h2o - low == pytest.approx(2.0, abs=0.02)
    assert high - t.value_cm_h2o == pytest.approx(0.5, abs=0.02)


@given(st.floats(-15, 25), st.floats(-30, 30), st.sampled_from([CM, HG]))
def test_reverse_sum_undoes_the_threshold(ordered, offset_cm, unit):
    back = h.setting_for_threshold(ordered, unit, offset_cm)
    t = h.effective_threshold(back.setting_cm_h2o, CM, offset_cm)
    assert t.value_cm_h2o == pytest.approx(h.convert(ordered, unit, CM), abs=1e-9)


def test_reverse_sum_is_no_advice():
    sentence = h.setting_for_threshold(15, CM, -3).sentence
    assert "18.0 cmH2O" in sentence and "Sum only" in sentence and "on order only" in sentence


@pytest.mark.parametrize("setting, unit, offset_cm, interval", [
    (math.nan, CM, 0, None), (10, CM, math.inf, None), (500, CM, 0, None), (10, "cm", 0, None),
    (10, CM, -3, (-2, -1)), (10, CM, -3, (-1, -4)), (10, CM, 1000, None),
])
def test_impossible_input_gets_one_sentence(setting, unit, offset_cm, interval):
    with pytest.raises(InputError) as caught:
        h.effective_threshold(setting, unit, offset_cm, offset_interval_cm=interval)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 160

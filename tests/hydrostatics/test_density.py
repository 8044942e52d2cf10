"""Densities against handbooks and an independent implementation."""

import math

import pytest

from vision import hydrostatics as h
from vision.errors import InputError
from vision.hydrostatics.density import density_sd_kg_m3


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


def test_density_of_csf_lies_among_those_of_other_people():
    # M. G. Richardson, R. N. Wissler, Density of lumbar cerebrospinal fluid in pregnant and
    # nonpregnant humans, Anesthesiology 1996;85:326, at 37 degC: 1.00030 g/mL (pregnant women)
    # to 1.00070 (women after the menopause); from memory.  Another laboratory than ours quotes.
    assert 1000.30 <= h.density_kg_m3("csf", 37) <= 1000.70


#: 9 g of salt in a litre of 1004.6 g, as a share of the mass.
SALT_SHARE = 9.0 / 1004.6


@pytest.mark.parametrize("temperature_c, water, one_percent, source", [
    # kg/m3 of water and of 1 % sodium chloride by mass.  The first pair and its change of 0.22
    # for each degree: Poradnik fizykochemiczny, WNT, Warszawa 1974.  The others: Perry's
    # Chemical Engineers' Handbook, sodium chloride (from memory).
    (20, 998.2, 1005.3, "WNT"), (15, 999.1, 1005.3 + 5 * 0.22, "WNT"),
    (10, 999.70, 1007.07, "Perry"), (25, 997.05, 1004.09, "Perry"), (40, 992.22, 999.08, "Perry"),
])
def test_density_of_saline_against_handbooks(temperature_c, water, one_percent, source):
    """0.3 kg/m3 is 1.5 degrees of warmth: the value belongs to its own temperature."""
    expected = water + 100 * SALT_SHARE * (one_percent - water)
    assert h.density_kg_m3("saline", temperature_c) == pytest.approx(
        expected, abs=0.15 if temperature_c == 20 else 0.28), source


def test_a_temperature_or_a_fluid_out_of_reason_is_refused():
    with pytest.raises(InputError):
        h.density_kg_m3("csf", 60)
    with pytest.raises(InputError):
        h.density_kg_m3("tea", 20)


@pytest.mark.parametrize("liquid, most", [("csf", 0.20), ("saline", 0.1), ("water", 0.001)])
def test_the_doubt_of_a_fluid_is_that_of_its_source(liquid, most):
    """131 people: SD 0.20 kg/m3 (PMID 9597201); water: below 0.001 kg/m3 (Tanaka 2001); saline:
    0.1 kg/m3, which holds what the handbook's last digit (0.1 kg/m3) leaves of 0.896 % of salt."""
    assert density_sd_kg_m3(liquid) == most
    if liquid == "saline":
        digit = 0.1 / math.sqrt(12)     # rounded figures of water and of 1 %, each rectangular
        assert math.hypot(100 * SALT_SHARE, 1 - 100 * SALT_SHARE) * digit < most

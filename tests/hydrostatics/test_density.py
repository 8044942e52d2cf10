"""Densities against handbooks and an independent implementation."""

import pytest

from vision import hydrostatics as h
from vision.errors import InputError


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

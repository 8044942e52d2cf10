"""Every constant has a unit and a source; published tables say theirs row by row."""

import math
from importlib.resources import files

import pytest
import scipy.constants

from vision import constants as c

ALL = [v for v in vars(c).values() if isinstance(v, c.Constant)]
TABLES = sorted(p.name.removesuffix(".csv")
                for p in (files("vision") / "data" / "tables").iterdir() if p.name.endswith(".csv"))


@pytest.mark.parametrize("constant", ALL, ids=lambda v: v.name)
def test_constant_is_whole(constant):
    assert constant.unit and len(constant.reference) > 10
    assert constant.standard_uncertainty is None or constant.standard_uncertainty >= 0
    assert float(constant) == constant.value


def test_exact_constants_are_those_of_codata():
    assert c.STANDARD_GRAVITY.value == scipy.constants.g
    # scipy's torr is atm/760, which agrees with the conventional mmHg to 1.5e-7.
    assert c.MM_HG.value == pytest.approx(scipy.constants.torr, rel=2e-7)


@pytest.mark.parametrize("name", TABLES)
def test_table_names_a_source_in_every_row(name):
    rows = c.table(name)
    assert len(rows) >= 3
    materials = [row["material"] for row in rows]
    assert len(materials) == len(set(materials))
    for row in rows:
        float(row["value"])
        assert len(row["reference"]) > 8


def test_contact_angles_of_clear_plastics_are_nearly_a_right_angle():
    # Survey table: PMMA 70.9 to polystyrene 87.4 degrees; glass 13.6 (Int J Microbiol 2011).
    assert 70 < c.contact_angle_deg("PMMA").value < c.contact_angle_deg("polystyrene").value < 90
    assert c.contact_angle_deg("glass").value == 13.6


@pytest.mark.parametrize("temperature_c", [20, 30, 37])
def test_index_and_capillary_length_of_water(temperature_c):
    """Against iapws, an independent implementation of IAPWS R6-95, R9-97 and R1-76."""
    iapws = pytest.importorskip("iapws")
    from iapws._iapws import _Refractive, _Tension

    kelvin = temperature_c + 273.15
    water = iapws.IAPWS95(T=kelvin, P=0.101325)
    n = c.WATER_REFRACTIVE_INDEX
    assert _Refractive(water.rho, kelvin, 0.5893) == pytest.approx(
        n.value, abs=2 * n.standard_uncertainty)
    length = 1000 * math.sqrt(_Tension(kelvin) / (water.rho * c.STANDARD_GRAVITY.value))
    known = c.WATER_CAPILLARY_LENGTH
    assert length == pytest.approx(known.value, abs=known.standard_uncertainty)


def test_index_of_plastics_from_published_dispersion():
    # PMMA 1.4914, polycarbonate 1.585, polystyrene 1.592 at 587.6 nm: references in the table.
    assert c.refractive_index("PMMA").value == 1.4914
    assert c.refractive_index("polycarbonate").value == 1.585
    assert c.refractive_index("polystyrene").value == 1.592
    with pytest.raises(KeyError):
        c.refractive_index("cheese")

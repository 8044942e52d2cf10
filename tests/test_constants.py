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
    # An order that surveys agree on, and what was typed off one of them (no second source).
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
    """PMMA: the dispersion formula of S. N. Kasarova et al., Opt Mater 2007;29:1481, in um.  The
    others: N. Sultanova, S. Kasarova, I. Nikolov, Dispersion properties of optical polymers,
    Acta Phys Pol A 2009;116:585, printed at 486.1 and 632.8 nm, between them by Cauchy's law."""
    x = 0.5876
    assert c.refractive_index("PMMA").value == pytest.approx(math.sqrt(
        2.399964 - 8.308636e-2 * x**2 - 1.919569e-1 * x**-2 + 8.720608e-2 * x**-4
        - 1.666411e-2 * x**-6 + 1.169519e-3 * x**-8), abs=1e-4)
    share = (x**-2 - 0.6328**-2) / (0.4861**-2 - 0.6328**-2)
    for plastic, blue, red in (("polycarbonate", 1.599, 1.580), ("polystyrene", 1.606, 1.587)):
        assert c.refractive_index(plastic).value == pytest.approx(
            red + share * (blue - red), abs=0.0012)     # printed to 0.001, and Cauchy's law
    with pytest.raises(KeyError):
        c.refractive_index("cheese")

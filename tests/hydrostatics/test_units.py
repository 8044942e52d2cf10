"""Units of pressure against the standards."""

import pytest
import scipy.constants

from vision import hydrostatics as h
from vision.errors import InputError
from vision.hydrostatics.units import signed_text

CM, HG = h.CM_H2O_CODE, h.MM_HG_CODE


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


def test_a_sign_is_a_true_minus_and_a_nought_has_none():
    assert signed_text(-0.34) == "\N{MINUS SIGN}0.3" and signed_text(2.0) == "+2.0"
    assert signed_text(-0.04) == signed_text(0.04) == "0.0"

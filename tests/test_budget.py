"""Budgets against the worked example of the GUM."""

import pytest

from vision.budget import NORMAL_95, BudgetTerm, combined_standard_uncertainty


def test_the_end_gauge_of_the_gum() -> None:
    """JCGM 100:2008, H.1, table H.1: contributions in nm; the combined figure there is 32 nm
    (from memory)."""
    terms = [BudgetTerm(name, u, "nm") for name, u in (
        ("standard", 25.0), ("difference", 9.7), ("expansion", 2.9), ("temperature", 16.6))]
    assert combined_standard_uncertainty(terms) == pytest.approx(31.7, abs=0.1)


def test_nothing_in_nothing_out_and_the_sign_of_a_term_does_not_matter() -> None:
    assert combined_standard_uncertainty([]) == 0.0
    assert combined_standard_uncertainty([BudgetTerm("a", -3.0, "mL"),
                                          BudgetTerm("b", 4.0, "mL")]) == 5.0


def test_the_coverage_factor_covers_95_percent_of_a_normal_law() -> None:
    from scipy.stats import norm

    assert norm.cdf(NORMAL_95) - norm.cdf(-NORMAL_95) == pytest.approx(0.95, abs=1e-7)


def test_the_printed_object() -> None:
    assert BudgetTerm("surface", 0.12345678, "mL", "edge fit").as_json() == {
        "term": "surface", "standard_uncertainty": 0.123457, "unit": "mL", "note": "edge fit"}

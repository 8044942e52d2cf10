"""The interval and its budget, worked out again by other means."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.budget import combined_standard_uncertainty
from vision.graduations.cylinder_pose import CylinderPose
from vision.meniscus_image.contact_line import ContactLine
from vision.meniscus_image.detect import MeniscusPosterior, _least_moved
from vision.meniscus_image.features import BIN_CENTRES_MM
from vision.meniscus_image.misread_risk import LARGEST_CHANCE
from vision.parameters import (
    HARDLY_ODDS,
    TAUGHT_PLACE_ODDS,
    UNLIKE_DOUBTED_SHARE,
    UNLIKE_SHARE,
)
from vision.scale_file.scale import Scale, load_scale, parse_scale
from vision.volume.estimate import MENISCUS_TERM, LevelEstimate, estimate_level

QUAY = load_scale("quay-60")
PER_MM = 60 / 84.883


def fit(elevation_deg: float = 5.0, sd_deg: float = 0.5, level_mm: float = 40.0
           ) -> SimpleNamespace:
    """The parts of a ladder that the interval rests on."""
    d = 300.0
    h = level_mm + d * np.tan(np.radians(elevation_deg))
    covariance = np.zeros((6, 6))
    # all of it in the height: d(elevation)/dh = cos^2(elevation) / d
    covariance[1, 1] = (np.radians(sd_deg) * d / np.cos(np.radians(elevation_deg)) ** 2) ** 2
    pose = CylinderPose(np.array([d, h, 0, 0, 0, np.log(1500.0)]), covariance, 16.5,
                        (449.5, 599.5), 0.2)
    return SimpleNamespace(pose=pose, core_rad=(-0.2, 0.2), long_rad=(-0.2, 0.5),
                           seen=np.ones(61, bool), scale=QUAY, pitch_px=8.0)


def meniscus(probability: np.ndarray, *, at_mm: float = 41.0) -> MeniscusPosterior:
    line = ContactLine(height_mm=at_mm, slope=0.0, strength=4.0, contrast=3.0)
    return MeniscusPosterior(line=line, reference_mm=at_mm, offset_mm=BIN_CENTRES_MM,
                   offset_probability=probability / probability.sum(), shift_mm=0.0,
                   bore_radius_mm=15.0, wall_mm=1.5, candidates=(), p_absent=0.0)


def bell(middle: float, sd: float) -> np.ndarray:
    return np.exp(-0.5 * ((BIN_CENTRES_MM - middle) / sd) ** 2)


def estimate(probability: np.ndarray, scale: Scale = QUAY, **view: float) -> LevelEstimate:
    return estimate_level(meniscus(probability), fit(**view), scale)


def normal_terms(e: LevelEstimate) -> float:
    """Root sum of squares of everything but the meniscus and the scale's tolerance."""
    return combined_standard_uncertainty(
        t for t in e.budget if t.term not in (MENISCUS_TERM, "scale tolerance"))


class TestInterval:
    @settings(max_examples=25, deadline=None)
    @given(middle=st.floats(0.5, 3.0), sd=st.floats(0.15, 0.6))
    def test_a_normal_meniscus_gives_the_gum_interval(self, middle, sd):
        # For normal inputs JCGM 101 must give what JCGM 100 gives: y -/+ 1.96 u(y).
        e = estimate(bell(middle, sd))
        u = combined_standard_uncertainty(e.budget)
        assert e.value == pytest.approx(QUAY.value_at(41.0 - middle), abs=0.05)
        assert e.interval[0] == pytest.approx(e.value - 1.96 * u, abs=0.06 * u + 0.02)
        assert e.interval[1] == pytest.approx(e.value + 1.96 * u, abs=0.06 * u + 0.02)

    @pytest.mark.parametrize("seed", range(4))
    def test_any_meniscus_against_a_monte_carlo_run(self, seed):
        # JCGM 101:2008, 5.9 and 7.7: draw every input, take the 2.5 and 97.5 % points.
        rng = np.random.default_rng(seed)
        p = rng.dirichlet(np.full(4, 0.7)) @ np.stack([bell(m, s) for m, s in zip(
            rng.uniform(0, 3, 4), rng.uniform(0.1, 0.5, 4), strict=True)])
        e = estimate(p)
        n = 200_000
        offset = rng.choice(BIN_CENTRES_MM, n, p=p / p.sum()) + rng.uniform(-0.05, 0.05, n)
        other = rng.normal(0, normal_terms(e) / PER_MM, n)
        low, high = np.quantile(QUAY.value_at(41.0 - offset - other), [0.025, 0.975])
        assert e.interval == pytest.approx((low, high), abs=0.03)

    @settings(max_examples=20, deadline=None)
    @given(middle=st.floats(0.0, 4.0), sd=st.floats(0.1, 1.0), elevation=st.floats(-28, 28))
    def test_holds_the_value(self, middle, sd, elevation):
        e = estimate(bell(middle, sd), elevation_deg=elevation)
        assert e.interval[0] < e.value < e.interval[1]
        assert e.interval_mm[0] < e.level_mm < e.interval_mm[1]

    @pytest.mark.parametrize(("share", "apart_divisions", "between"), [
        (0.5, 1.4, True), (0.85, 1.4, True), (0.97, 1.4, False), (0.7, 0.8, False),
        (0.7, 2.8, False)])
    def test_of_two_lines_that_may_be_the_edge_both_are_held(self, share, apart_divisions,
                                                            between):
        """Read between them where the far one is too likely and near enough for that."""
        apart = apart_divisions / PER_MM
        p = share * bell(1.0, 0.08) + (1.0 - share) * bell(1.0 + apart, 0.08)
        found = _least_moved(meniscus(p), fit())
        e = estimate_level(found, fit(), QUAY)
        assert (found.chosen_mm is not None) is between
        if between:
            low, high = QUAY.value_at(np.array([40.0 - apart, 40.0]))
            assert e.interval[0] < low < e.value - 0.2 < e.value + 0.2 < high < e.interval[1]
            # moved to a fifth of the chance up to which a level is read
            assert found.chance_of_misreading(QUAY) <= 0.2 * LARGEST_CHANCE
        else:
            assert found.level_mm == meniscus(p).level_mm

    def test_no_meniscus_uncertainty_leaves_the_other_terms(self):
        sure = np.zeros(len(BIN_CENTRES_MM))
        sure[25] = 1.0
        e = estimate(sure)
        # a bin is 0.1 mm wide: its own spread, and the other terms
        u = np.hypot(normal_terms(e), 0.1 / np.sqrt(12) * PER_MM)
        assert (e.interval[1] - e.interval[0]) / 2 == pytest.approx(1.96 * u, rel=0.05)

    @pytest.mark.parametrize("sd", [0.08, 0.3, 1.0])
    def test_a_tolerance_widens_it_as_a_rectangular_law(self, sd):
        # JCGM 100:2008, 4.3.7: a tolerance +/- a counts a / sqrt(3) in the budget; the
        # interval is that of the laws drawn, JCGM 101:2008, 7.7.  1.96 standard
        # uncertainties would be up to a fifth too wide, since a rectangle has no tails.
        content = {"name": "q", "unit": "mL", "inner_diameter_mm": 30.0, "wall_mm": 1.5,
                   "capacity": 60, "height_mm": [[0, 0.0], [60, 84.883]],
                   "marks": [{"from": 0, "to": 60, "step": 1, "length": "short"}]}
        plain = estimate(bell(1.5, sd), parse_scale(content))
        wide = estimate(bell(1.5, sd), parse_scale({**content, "tolerance": 1.0}))
        term = [t for t in wide.budget if t.term == "scale tolerance"]
        assert term[0].standard_uncertainty == pytest.approx(1 / np.sqrt(3))
        assert wide.value == plain.value
        rng, n, p = np.random.default_rng(3), 400_000, bell(1.5, sd)
        drawn = (rng.choice(BIN_CENTRES_MM, n, p=p / p.sum()) + rng.uniform(-0.05, 0.05, n)
                 + rng.normal(0, normal_terms(wide) / PER_MM, n))
        low, high = np.quantile((41.0 - drawn) * PER_MM + rng.uniform(-1.0, 1.0, n),
                                [0.025, 0.975])
        assert wide.interval == pytest.approx((low, high), abs=0.012)


class TestBudget:
    def test_every_term_is_named_and_in_the_unit_of_the_value(self):
        e = estimate(bell(1.5, 0.3))
        assert len({t.term for t in e.budget}) == len(e.budget) >= 7
        assert all(t.unit == "mL" and t.standard_uncertainty >= 0 and t.note for t in e.budget)

    def test_meniscus_term_is_the_spread_of_its_probability(self):
        e = estimate(bell(1.5, 0.3))
        term = next(t for t in e.budget if t.term == MENISCUS_TERM)
        assert term.standard_uncertainty == pytest.approx(0.3 * PER_MM, rel=0.02)

    def test_elevation_is_known_as_well_as_the_pose(self):
        e = estimate(bell(1.5, 0.3), sd_deg=1.0)
        assert e.elevation_sd_deg == pytest.approx(1.0, abs=0.1)
        e2 = estimate(bell(1.5, 0.3), sd_deg=3.0)
        assert e2.elevation_sd_deg == pytest.approx(3.0, abs=0.2)
        assert e2.interval[1] - e2.interval[0] > e.interval[1] - e.interval[0]

    @pytest.mark.parametrize(("elevation", "flag"), [(4, None), (25, "steep-view"),
                                                     (-25, "steep-view")])
    def test_a_steep_view_is_named(self, elevation, flag):
        flags = estimate(bell(1.5, 0.2), elevation_deg=elevation).flags
        assert ("steep-view" in flags) == (flag is not None)


class TestNaiveValue:
    """What an eye takes that looks along the camera's sight line.

    Worked values of the parallax of a scale on the front wall, meniscus on the axis:
    e = r tan(elevation) from above, r tan(asin(sin(elevation) / 1.333)) from below,
    computed here from these formulas (refractive index of water 1.333, IAPWS R9-97);
    for r = 14.8 mm: 0.26, 0.52, 1.29 mm at 1, 2, 5 degrees and 2.61 / 1.94 mm at 10.
    """

    THIN = parse_scale({"name": "q", "unit": "mL", "inner_diameter_mm": 29.6, "wall_mm": 0.0,
                        "capacity": 60, "height_mm": [[0, 0.0], [60, 87.19]],
                        "marks": [{"from": 0, "to": 60, "step": 1, "length": "short"}]})

    @pytest.mark.parametrize(("elevation", "parallax_mm"), [
        (1, 0.26), (2, 0.52), (5, 1.29), (10, 2.61), (-10, -1.94)])
    def test_parallax(self, elevation, parallax_mm):
        line = meniscus(bell(1.0, 0.2))
        thin = MeniscusPosterior(**{**line.__dict__, "bore_radius_mm": 14.8, "wall_mm": 0.0})
        e = estimate_level(thin, fit(elevation_deg=elevation, level_mm=40.0), self.THIN)
        shift = self.THIN.height_mm(e.naive_value) - e.level_mm
        assert shift == pytest.approx(parallax_mm, abs=0.01)


def test_an_interval_is_wider_where_the_place_is_less_like_those_that_taught():
    """By the shares of the limits: the same meniscus with the root of 1 + share squared, combined
    as JCGM 100:2008, 5.1.2 has it."""
    seen = meniscus(bell(0.8, 0.3))
    near = estimate_level(replace(seen, odds=TAUGHT_PLACE_ODDS), fit(), QUAY)
    doubted = estimate_level(replace(seen, odds=0.9 * TAUGHT_PLACE_ODDS), fit(), QUAY)
    assert doubted.value == near.value
    width = [e.interval[1] - e.interval[0] for e in (near, doubted)]
    expected = np.hypot(1.0, UNLIKE_DOUBTED_SHARE) / np.hypot(1.0, UNLIKE_SHARE)
    assert width[1] / width[0] == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize(("odds", "named"), [
    (1.01 * HARDLY_ODDS, False), (0.99 * HARDLY_ODDS, True)])
def test_a_surface_that_hardly_looks_like_one_is_named(odds, named):
    seen = replace(meniscus(bell(0.8, 0.3)), odds=odds)
    assert ("surface-unlike" in estimate_level(seen, fit(), QUAY).flags) == named

"""The statistics against published worked examples and reference libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from vision.accuracy import statistics as st

# Peak expiratory flow, L/min, 17 subjects, first readings of two meters.  Source:
# J. M. Bland, D. G. Altman, Statistical methods for assessing agreement between two
# methods of clinical measurement, Lancet 1986;327:307-310, table 1.
LARGE = np.array([494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178,
                  423, 427], dtype=float)
MINI = np.array([512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259,
                 350, 451], dtype=float)

#: Half a unit of the last digit printed, plus what rounded inputs (-2.1, 38.8) add.
PRINTED = 0.05
PRINTED_FROM_ROUNDED = 0.25


class TestBlandAltman:
    """Published figures of the 1986 paper; it uses 2 standard deviations."""

    def test_bias_and_limits_as_printed(self):
        a = st.limits_of_agreement(LARGE - MINI, multiplier=2, method="approximate")
        assert a.bias == pytest.approx(-2.1, abs=PRINTED)
        assert a.sd == pytest.approx(38.8, abs=PRINTED)
        assert a.lower == pytest.approx(-79.7, abs=0.1)
        assert a.upper == pytest.approx(75.5, abs=0.1)

    def test_intervals_as_printed(self):
        a = st.limits_of_agreement(LARGE - MINI, multiplier=2, method="approximate")
        assert (a.bias_ci.low, a.bias_ci.high) == pytest.approx((-22.0, 17.8), abs=0.1)
        assert (a.lower_ci.low, a.lower_ci.high) == pytest.approx(
            (-114.3, -45.1), abs=PRINTED_FROM_ROUNDED)
        assert (a.upper_ci.low, a.upper_ci.high) == pytest.approx(
            (40.9, 110.1), abs=PRINTED_FROM_ROUNDED)

    def test_196_standard_deviations_is_the_default_and_is_said(self):
        a = st.limits_of_agreement(LARGE - MINI)
        assert a.multiplier == 1.96 and a.method == "exact"
        assert (a.lower, a.upper) == pytest.approx((-78.10, 73.86), abs=0.01)

    def test_the_exact_interval_is_a_one_sided_tolerance_factor(self):
        """Factor 1.9017 for n = 40, 90 % of the population, 99 % confidence, from the
        non-central t distribution.  Source: C. Zaiontz, Real Statistics, Tolerance
        Interval Example (real-statistics.com), with NIST/SEMATECH 7.2.6.3."""
        d = np.random.default_rng(8).normal(size=40)
        d = (d - d.mean()) / d.std(ddof=1)
        a = st.limits_of_agreement(d, multiplier=float(stats.norm.ppf(0.9)), confidence=0.98,
                                   method="exact")
        assert a.upper_ci.high == pytest.approx(1.9017, abs=5e-5)

    @pytest.mark.slow
    def test_exact_intervals_hold_the_true_limit_as_often_as_they_say(self):
        """Independent of the formula: 4,000 samples of 8, true upper limit 1.96."""
        rng = np.random.default_rng(1986)
        held = 0
        for _ in range(4000):
            ci = st.limits_of_agreement(rng.normal(size=8), method="exact").upper_ci
            held += ci.low <= 1.96 <= ci.high
        assert 0.94 <= held / 4000 <= 0.96

    def test_exact_and_approximate_agree_where_the_method_changes(self):
        d = np.random.default_rng(5).normal(size=st.EXACT_BELOW)
        exact, approximate = (st.limits_of_agreement(d, method=m) for m in ("exact", "approximate"))
        assert exact.upper_ci.high == pytest.approx(approximate.upper_ci.high, abs=0.03)

    def test_fewer_than_three_differences_give_none(self):
        assert st.limits_of_agreement(np.array([1.0, 2.0])) is None

    def test_equal_differences_have_limits_of_no_width(self):
        a = st.limits_of_agreement(np.array([0.5, 0.5, 0.5, 0.5]))
        assert a.lower == a.upper == 0.5 and a.upper_ci.high == 0.5

    @pytest.mark.slow
    def test_the_published_tutorial_data(self):
        """Bias -27.2, SD 34.8, limits -95.4 and 41.1, 30 pairs.  Source: D. Giavarina,
        Understanding Bland Altman analysis, Biochem Med 2015;25(2):141-151; the data as
        carried by pingouin, the printed figures from memory."""
        pg = pytest.importorskip("pingouin", reason="pingouin is a development extra")
        data = pg.read_dataset("blandaltman")
        a = st.limits_of_agreement((data["A"] - data["B"]).to_numpy(float))
        assert (a.bias, a.sd) == pytest.approx((-27.2, 34.8), abs=PRINTED)
        assert (a.lower, a.upper) == pytest.approx((-95.4, 41.1), abs=PRINTED)

    @pytest.mark.slow
    def test_pingouin_draws_the_same_lines(self):
        pg = pytest.importorskip("pingouin", reason="pingouin is a development extra")
        matplotlib = pytest.importorskip("matplotlib", reason="pingouin draws with matplotlib")
        matplotlib.use("Agg")
        ax = pg.plot_blandaltman(LARGE, MINI, confidence=None)
        drawn = sorted({float(line.get_ydata()[0]) for line in ax.get_lines()})
        a = st.limits_of_agreement(LARGE - MINI)
        for ours in (a.lower, a.bias, a.upper):
            assert min(abs(ours - y) for y in drawn) < 1e-9


class TestProportions:
    def test_clopper_pearson_of_the_handbook_example(self):
        """4 defective of 20, 90 % interval: 0.071354 to 0.401029.  Source: NIST/SEMATECH
        e-Handbook of Statistical Methods, section 7.2.4.2; the two bounds from memory."""
        ci = st.clopper_pearson(4, 20, 0.90)
        assert (ci.low, ci.high) == pytest.approx((0.071354, 0.401029), abs=2e-6)

    @pytest.mark.parametrize(("k", "n", "low", "high"), [
        (81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776)])
    def test_clopper_pearson_of_a_published_table(self, k, n, low, high):
        """R. G. Newcombe, Two-sided confidence intervals for the single proportion, Stat Med
        1998;17:857-872, table I, method 5 (the figures from memory)."""
        ci = st.clopper_pearson(k, n)
        assert (ci.low, ci.high) == pytest.approx((low, high), abs=5.1e-5)

    @pytest.mark.slow
    @pytest.mark.parametrize(("k", "n"), [(0, 17), (17, 17), (1, 1), (95, 100), (950, 1000)])
    def test_clopper_pearson_against_statsmodels(self, k, n):
        ours = st.clopper_pearson(k, n)
        proportion = pytest.importorskip("statsmodels.stats.proportion",
                                         reason="statsmodels is a development extra")
        assert (ours.low, ours.high) == pytest.approx(
            proportion.proportion_confint(k, n, method="beta"), abs=1e-9)

    @pytest.mark.parametrize(("share", "least", "most"), [
        (0, 0, 0.01), (1, 0.99, 1), (1 / 20, 0, 0.01), (1 / 200, 0, 0.01), (0.96, 0.92, 0.98),
        (0.99, 0.92, 0.98), (0.5, 0.92, 0.98)])
    def test_so_many_trials_settle_a_share_and_no_fewer(self, share, least, most):
        """By SciPy's exact interval of whole counts, next to the number found on either side."""
        def settled(n):
            ci = stats.binomtest(round(share * n), n).proportion_ci(method="exact")
            return (least <= ci.low and ci.high <= most) or ci.high < least or ci.low > most

        whole = round(1 / (share % 1)) if 0 < share % 1 < 0.5 else (
            round(1 / (1 - share)) if share % 1 else 1)     # the count is whole every so many
        n = st.trials_to_settle(share, least, most)
        assert settled(-(-n // whole) * whole)
        fewer = (n - 1) // whole * whole
        assert fewer == 0 or not settled(fewer)

    def test_a_share_on_its_limit_is_never_settled(self):
        assert st.trials_to_settle(0.01, 0, 0.01) is None

    @pytest.mark.parametrize(("n", "three_over_n"), [(300, 0.01), (1000, 0.003)])
    def test_no_event_bounds_the_rate_at_three_over_n(self, n, three_over_n):
        """J. A. Hanley, A. Lippman-Hand, JAMA 1983;249:1743-1745."""
        assert st.zero_events_bound(n) == pytest.approx(three_over_n, rel=0.01)
        assert st.zero_events_bound(0) == 1


class TestPairedTests:
    def test_wilcoxon_of_the_published_maize_heights(self):
        """Darwin's 15 pairs in eighths of an inch; T = 24, two-sided exact p = 0.0413.
        Source: the data in R. A. Fisher, The Design of Experiments, 1935, section 17; the
        p-value by counting every choice of signs (ranks that sum to 24 or less)."""
        d = np.array([6, 8, 14, 16, 23, 24, 28, 29, 41, -48, 49, 56, 60, -67, 75], dtype=float)
        result = st.wilcoxon_signed_rank(d)
        assert (result.n, result.statistic) == (15, 24)
        ways = np.zeros(121)      # of how many choices of ranks 1 to 15 have this sum
        ways[0] = 1
        for rank in range(1, 16):
            ways[rank:] = ways[rank:] + ways[:-rank]
        assert result.p_value == pytest.approx(2 * ways[:25].sum() / 2**15, rel=1e-9)
        assert result.p_value == pytest.approx(0.0413, abs=5e-5)

    def test_pairs_without_a_difference_show_nothing(self):
        assert st.wilcoxon_signed_rank(np.zeros(9)).p_value == 1

    def test_mcnemar_against_statsmodels(self):
        contingency = pytest.importorskip("statsmodels.stats.contingency_tables",
                                          reason="statsmodels is a development extra")
        theirs = contingency.mcnemar([[30, 12], [3, 40]], exact=True)
        ours = st.mcnemar_exact(12, 3)
        assert ours.p_value == pytest.approx(theirs.pvalue, abs=1e-12)
        assert ours.statistic == theirs.statistic
        assert st.mcnemar_exact(0, 0).p_value == 1


class TestSlope:
    def test_the_norris_reference_line(self):
        """Certified slope 1.00211681802045, its standard deviation 4.29796848199937e-04.
        Source: NIST Statistical Reference Datasets, Linear Regression, Norris (lower
        difficulty); data and certificates from memory."""
        x = np.array([.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, .4,
                      .6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, .3,
                      .3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, .5])
        y = np.array([.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, .3,
                      .1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, .3,
                      .6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, .2])
        fit = st.slope(x, y)
        assert fit.slope == pytest.approx(1.00211681802045, abs=1e-12)
        half = float(stats.t.ppf(0.975, 34)) * 4.29796848199937e-04
        assert fit.slope_ci.high - fit.slope == pytest.approx(half, rel=1e-9)

    def test_no_spread_gives_none(self):
        assert st.slope(np.ones(5), np.arange(5.0)) is None


def test_percentiles_of_known_numbers():
    assert st.percentiles(np.arange(101.0)) == (50, 90, 95, 99)
    assert st.percentiles(np.array([])) is None
    assert math.isclose(st.percentiles(np.array([1.0, 2.0]))[0], 1.5)

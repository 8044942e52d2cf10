"""The statistics of the benchmark: short pure functions, each with its source."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from typing import Literal

import numpy as np

#: From this many differences on the exact interval of a limit of agreement and
#: the approximate one agree to better than 1 % of the standard deviation.
EXACT_BELOW = 200

#: More trials than that are not asked for: no run reads so many.
MOST_TRIALS = 100_000


@dataclass(frozen=True)
class Interval:
    """A confidence interval."""

    low: float
    high: float


@dataclass(frozen=True)
class Agreement:
    """Limits of agreement: bias and limits in the unit of the differences.

    ``multiplier`` says how many standard deviations the limits lie from the
    bias, ``method`` how the intervals of the limits were found.
    """

    n: int
    bias: float
    sd: float
    lower: float
    upper: float
    bias_ci: Interval
    lower_ci: Interval
    upper_ci: Interval
    multiplier: float
    method: Literal["exact", "approximate"]


def limits_of_agreement(
    differences: np.ndarray, *, multiplier: float = 1.96, confidence: float = 0.95,
    method: Literal["auto", "exact", "approximate"] = "auto",
) -> Agreement | None:
    """Bland-Altman limits of agreement with confidence intervals; None below 3 values.

    ``differences`` is an (n,) array.  Source of the limits and of the approximate
    intervals (standard error s sqrt(1/n + m^2/2n), which is the published
    sqrt(3 s^2/n) for m = 2): J. M. Bland, D. G. Altman, Statistical methods for
    assessing agreement between two methods of clinical measurement, Lancet
    1986;327:307-310.  Exact intervals of each limit, from the non-central t
    distribution: A. Carkeet, Exact parametric confidence intervals for
    Bland-Altman limits of agreement, Optom Vis Sci 2015;92(3):e71-e80.
    """
    from scipy import stats

    d = np.asarray(differences, dtype=float)
    n = d.size
    if n < 3:
        return None
    bias, sd = float(d.mean()), float(d.std(ddof=1))
    t = float(stats.t.ppf(0.5 + confidence / 2, n - 1))
    half = t * sd / math.sqrt(n)
    lower, upper = bias - multiplier * sd, bias + multiplier * sd
    chosen: Literal["exact", "approximate"] = (
        "exact" if method == "exact" or (method == "auto" and n < EXACT_BELOW) else "approximate")
    if chosen == "exact":
        tail = (1 - confidence) / 2
        near, far = (float(x) * sd / math.sqrt(n) for x in stats.nct.ppf(
            [tail, 1 - tail], n - 1, multiplier * math.sqrt(n)))
        lower_ci, upper_ci = Interval(bias - far, bias - near), Interval(bias + near, bias + far)
    else:
        reach = t * sd * math.sqrt(1 / n + multiplier**2 / (2 * n))
        lower_ci = Interval(lower - reach, lower + reach)
        upper_ci = Interval(upper - reach, upper + reach)
    return Agreement(n, bias, sd, lower, upper, Interval(bias - half, bias + half),
                     lower_ci, upper_ci, multiplier, chosen)


def clopper_pearson(successes: int, n: int, confidence: float = 0.95) -> Interval:
    """Exact interval of a proportion; (0, 1) for n = 0.

    Source: C. J. Clopper, E. S. Pearson, The use of confidence or fiducial limits
    illustrated in the case of the binomial, Biometrika 1934;26:404-413.
    """
    from scipy import stats

    if n == 0:
        return Interval(0.0, 1.0)
    found = stats.binomtest(successes, n).proportion_ci(confidence, method="exact")
    return Interval(float(found.low), float(found.high))


def clopper_pearson_of_groups(successes: int, n: int, groups: int, confidence: float = 0.95
                              ) -> Interval:
    """The same where the ``n`` come from fewer independent groups; (0, 1) for n = 0.

    Taken as if all of one group told the same, which no interval is too narrow for: the
    exact interval of ``groups`` trials with the share found, for counts that need not be whole.
    Source: E. L. Korn, B. I. Graubard, Confidence intervals for proportions with small expected
    number of positive counts estimated from survey data, Surv Methodol 1998;24:193-201, with the
    smallest effective sample size there can be.
    """
    if n == 0:
        return Interval(0.0, 1.0)
    return _of_share(successes / n, min(groups, n), confidence)


def _of_share(share: float, n: float, confidence: float) -> Interval:
    """Clopper and Pearson's interval of ``share`` of ``n`` trials, by the beta distribution,
    which needs no whole count."""
    from scipy import stats

    found, tail = n * share, (1 - confidence) / 2
    low = 0.0 if share == 0 else float(stats.beta.ppf(tail, found, n - found + 1))
    high = 1.0 if share == 1 else float(stats.beta.ppf(1 - tail, found + 1, n - found))
    return Interval(low, high)


def trials_to_settle(share: float, least: float, most: float, confidence: float = 0.95
                     ) -> int | None:
    """The fewest trials that settle whether a proportion lies within ``least`` to ``most``.

    Were ``share`` found in as many, the exact interval would lie wholly within the two limits or
    wholly outside of them.  None where `MOST_TRIALS` would not do, as when the share is a limit.
    """
    def settles(n: int) -> bool:
        return within(_of_share(share, n, confidence), least, most) is not None

    if not settles(MOST_TRIALS):
        return None
    return 1 + bisect_left(range(1, MOST_TRIALS), True, key=settles)


def within(ci: Interval, least: float, most: float) -> bool | None:
    """Does the whole interval lie within the limits (True), outside (False), or neither (None)."""
    if least <= ci.low and ci.high <= most:
        return True
    return False if ci.high < least or ci.low > most else None


def zero_events_bound(n: int, confidence: float = 0.95) -> float:
    """Upper bound of a rate of which no event was seen in n: 1 - (1 - confidence)^(1/n).

    About 3/n at 95 % (J. A. Hanley, A. Lippman-Hand, If nothing goes wrong, is
    everything all right?, JAMA 1983;249:1743-1745); 1 for n = 0.
    """
    return 1.0 if n == 0 else 1 - (1 - confidence) ** (1 / n)


def percentiles(
    values: np.ndarray, at: tuple[float, ...] = (50, 90, 95, 99)) -> tuple[float, ...] | None:
    """Percentiles by linear interpolation between order statistics; None when empty.

    The definition is type 7 of R. J. Hyndman, Y. Fan, Sample quantiles in
    statistical packages, Am Stat 1996;50:361-365 (the default of NumPy).
    """
    v = np.asarray(values, dtype=float)
    return None if v.size == 0 else tuple(float(x) for x in np.percentile(v, at))


@dataclass(frozen=True)
class Slope:
    """A straight line fitted by least squares, with the interval of its slope."""

    n: int
    slope: float
    intercept: float
    slope_ci: Interval


def slope(x: np.ndarray, y: np.ndarray, confidence: float = 0.95) -> Slope | None:
    """Least-squares slope of y against x; None below 3 points or without spread in x.

    Source of the interval: NIST/SEMATECH e-Handbook of Statistical Methods,
    section 4.4.3.1 and 4.1.4.1 (least squares), t with n - 2 degrees of freedom.
    """
    from scipy import stats

    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if x.size < 3 or float(np.ptp(x)) == 0.0:
        return None
    fit = stats.linregress(x, y)
    half = float(stats.t.ppf(0.5 + confidence / 2, x.size - 2) * fit.stderr)
    s = float(fit.slope)
    return Slope(int(x.size), s, float(fit.intercept), Interval(s - half, s + half))


@dataclass(frozen=True)
class PairedTest:
    """A two-sided paired test: ``n`` pairs that differ, the statistic, the p-value."""

    n: int
    statistic: float
    p_value: float


def wilcoxon_signed_rank(differences: np.ndarray) -> PairedTest:
    """Wilcoxon's signed-rank test of paired differences, zeros left out.

    Exact without ties and up to 50 pairs, by the normal approximation otherwise
    (as scipy.stats.wilcoxon chooses).  p = 1 without a pair that differs.
    Source: F. Wilcoxon, Individual comparisons by ranking methods, Biometrics
    Bulletin 1945;1:80-83.
    """
    from scipy import stats

    d = np.asarray(differences, dtype=float)
    d = d[d != 0]
    if d.size == 0:
        return PairedTest(0, 0.0, 1.0)
    result = stats.wilcoxon(d, method="auto")
    return PairedTest(int(d.size), float(result.statistic), float(result.pvalue))


def mcnemar_exact(only_first: int, only_second: int) -> PairedTest:
    """Exact McNemar test: of the discordant pairs, how many on one side.

    Source: Q. McNemar, Note on the sampling error of the difference between
    correlated proportions or percentages, Psychometrika 1947;12:153-157, with the
    binomial distribution in place of the approximation.
    """
    from scipy import stats

    n = only_first + only_second
    p = 1.0 if n == 0 else float(stats.binomtest(only_first, n, 0.5).pvalue)
    return PairedTest(n, float(min(only_first, only_second)), p)

"""The figures of a group of images: errors, agreement, coverage, refusals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.accuracy.columns import Columns
from vision.accuracy.statistics import (
    Agreement,
    Interval,
    clopper_pearson,
    limits_of_agreement,
    percentiles,
)


@dataclass(frozen=True)
class Errors:
    """Signed errors of ``n`` readings in one unit; percentiles are of |error|."""

    n: int
    bias: float
    mae: float
    rmse: float
    p50: float
    p90: float
    p95: float
    p99: float
    agreement: Agreement | None


@dataclass(frozen=True)
class Rate:
    """``count`` of ``n`` with the Clopper-Pearson 95 % interval; None of it for n = 0."""

    count: int
    n: int
    rate: float | None
    ci: Interval | None


@dataclass(frozen=True)
class Figures:
    """All figures of a group.  ``n`` images, ``scored`` readings with a truth.

    ``errors`` and ``naive`` are in the unit of the truth, ``errors_div`` and
    ``naive_div`` in divisions (None for level sets); errors are those of images
    expected to be read, and read.
    """

    n: int
    scored: int
    errors: Errors | None
    errors_div: Errors | None
    naive: Errors | None
    naive_div: Errors | None
    coverage: Rate
    mean_width: float | None
    mean_width_div: float | None
    refused_though_readable: Rate
    refused_as_expected: Rate
    off_scale_as_expected: Rate
    read_though_not_to_be: int
    misreads: Rate
    nearer_rim: Rate
    stopped_by_error: int
    elevation_bias_deg: float | None
    elevation_rmse_deg: float | None
    seconds_median: float | None


def errors_of(differences: np.ndarray) -> Errors | None:
    """Error figures of an array of differences, NaN left out; None when empty."""
    d = differences[np.isfinite(differences)]
    found = percentiles(np.abs(d))
    if found is None:
        return None
    p50, p90, p95, p99 = found
    return Errors(int(d.size), float(d.mean()), float(np.abs(d).mean()),
                  float(np.sqrt(np.mean(d**2))), p50, p90, p95, p99, limits_of_agreement(d))


def rate(count: int | np.integer, n: int | np.integer) -> Rate:
    """A proportion with its exact interval."""
    count, n = int(count), int(n)
    return Rate(count, n, count / n if n else None, clopper_pearson(count, n) if n else None)


def other(of: Rate) -> Rate:
    """The share of all the others."""
    if of.rate is None or of.ci is None:
        return of
    return Rate(of.n - of.count, of.n, 1 - of.rate, Interval(1 - of.ci.high, 1 - of.ci.low))


def figures(columns: Columns, of: np.ndarray) -> Figures:
    """Figures of the rows where the (n,) bool array ``of`` is true."""

    def mean(name: str, where: np.ndarray) -> float | None:
        v = columns.number(name)[where]
        v = v[np.isfinite(v)]
        return float(v.mean()) if v.size else None

    to_read, to_refuse = of & columns.expected("read"), of & columns.expected("refuse")
    to_be_off = of & columns.expected("off-scale")
    scored = of & columns.verdicts("read")
    hit = columns.truth_of("hit")[scored]
    rim = columns.truth_of("rim")[scored]
    elevation = columns.number("elevation_error_deg")[of]
    elevation = elevation[np.isfinite(elevation)]
    seconds = columns.number("seconds")[of]
    part = {name: errors_of(columns.number(name)[scored])
            for name in ("error", "error_div", "naive_error", "naive_error_div")}
    wrongly = columns.verdicts("read-though-unreadable", "read-though-off-scale")
    return Figures(
        n=int(of.sum()), scored=int(scored.sum()),
        errors=part["error"], errors_div=part["error_div"],
        naive=part["naive_error"], naive_div=part["naive_error_div"],
        coverage=rate((hit == 1).sum(), (hit >= 0).sum()),
        mean_width=mean("width", scored), mean_width_div=mean("width_div", scored),
        refused_though_readable=rate((to_read & ~scored).sum(), to_read.sum()),
        refused_as_expected=rate((to_refuse & columns.verdicts("refused")).sum(),
                                 to_refuse.sum()),
        off_scale_as_expected=rate((to_be_off & columns.verdicts("off-scale")).sum(),
                                   to_be_off.sum()),
        read_though_not_to_be=int((of & wrongly).sum()),
        misreads=rate((of & (columns.truth_of("misread") == 1)).sum(), of.sum()),
        nearer_rim=rate((rim == 1).sum(), (rim >= 0).sum()),
        stopped_by_error=int((of & columns.verdicts("error")).sum()),
        elevation_bias_deg=float(elevation.mean()) if elevation.size else None,
        elevation_rmse_deg=float(np.sqrt(np.mean(elevation**2))) if elevation.size else None,
        seconds_median=float(np.median(seconds)) if seconds.size else None,
    )

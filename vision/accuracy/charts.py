"""The plots of the report, from the columns and the figures of a run."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.accuracy import svg
from vision.accuracy.columns import Columns
from vision.accuracy.figures import Figures
from vision.accuracy.limits import COVERAGE_LIMITS, VOLUME_LIMITS
from vision.accuracy.statistics import Agreement, Slope

#: So many points at most are drawn; of larger sets every k-th.
MOST_POINTS = 1500


def thinned(*arrays: np.ndarray) -> list[np.ndarray]:
    """Every k-th value of arrays of equal length, k so that few enough are left."""
    step = -(-arrays[0].size // MOST_POINTS) or 1
    return [a[::step] for a in arrays]


def _both(a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    good = np.isfinite(a) & np.isfinite(b)
    return a[good], b[good]


def _reach(values: np.ndarray, least: float) -> float:
    """Half-width of an axis for the bulk of the values; what is beyond lies at the frame."""
    if values.size == 0:
        return least
    mid, far, most = np.percentile(np.abs(values), (90, 95, 100))
    return max(least, min(1.05 * float(most), 1.5 * float(far), 3 * float(mid)))


def error_histogram(columns: Columns, name: str, naive: str, unit: str) -> str:
    """How often each error occurs, corrected and naive."""
    read = columns.verdicts("read")
    series = [(label, v[np.isfinite(v)], color, mark) for label, v, color, mark in (
        ("corrected", columns.number(name)[read], svg.CORRECTED, "line"),
        ("naive", columns.number(naive)[read], svg.NAIVE, "dash"))]
    reach = _reach(series[1][1] if series[1][1].size else series[0][1], 0.5)
    edges = np.linspace(-reach, reach, 102)
    counts = [np.histogram(np.clip(v, -reach, reach), edges)[0] / max(v.size, 1)
              for _, v, _, _ in series]
    top = max(float(c.max()) for c in counts) or 1.0
    plot = svg.Plot((-reach, reach), (0, 100 * top * 1.08), title="How often each error occurs",
                    x_label=f"error, {unit} (reading minus truth)", y_label="% of readings")
    plot.level(0, svg.SOFT, across="x", dash="2 3")
    for (label, values, color, mark), share in zip(series, counts, strict=True):
        if values.size:
            plot.line(np.repeat(edges, 2)[1:-1], 100 * np.repeat(share, 2), color,
                      dash="5 4" if mark == "dash" else "")
            plot.legend(f"{label} ({values.size} readings)", color, mark)
    return plot.svg()


def error_against_elevation(columns: Columns, corrected: Slope | None,
                            naive: Slope | None, unit: str) -> str:
    """Error of the corrected and the naive reading against the true elevation."""
    read = columns.verdicts("read")
    elevation = columns.number("true_elevation_deg")[read]
    ours = _both(elevation, columns.number("error_div")[read])
    plain = _both(elevation, columns.number("naive_error_div")[read])
    if not ours[0].size:
        return ""
    reach = _reach(plain[1] if plain[1].size else ours[1], 0.5)
    side = max(5.0, float(np.abs(ours[0]).max()) * 1.05)
    plot = svg.Plot((-side, side), (-reach, reach), title="Error against the elevation of the view",
                    x_label="elevation of the sight line, degrees (camera above = positive)",
                    y_label=f"error, {unit}")
    plot.level(0, svg.SOFT, dash="2 3")
    for (x, y), fit, color, shape, label in (
            (plain, naive, svg.NAIVE, "square", "naive"),
            (ours, corrected, svg.CORRECTED, "dot", "corrected")):
        if not x.size:
            continue
        some_x, some_y = thinned(x, np.clip(y, -reach, reach))
        plot.points(some_x, some_y, color, shape=shape)
        text = label
        if fit is not None:
            plot.line((-side, side), [fit.intercept + fit.slope * s for s in (-side, side)], color,
                      dash="5 4" if label == "naive" else "")
            text += f", slope {fit.slope:+.4f} per degree"
        plot.legend(text, color, shape)
    return plot.svg()


def agreement(columns: Columns, name: str, found: Agreement | None, unit: str,
              truth_unit: str) -> str:
    """Error against the truth with the limits of agreement (Bland-Altman plot)."""
    read = columns.verdicts("read")
    x, y = _both(columns.number("truth")[read], columns.number(name)[read])
    if found is None or not x.size:
        return ""
    reach = max(_reach(y, 0.5), 1.1 * max(abs(found.lower_ci.low), abs(found.upper_ci.high)))
    plot = svg.Plot((float(x.min()), float(x.max())), (-reach, reach),
                    title="Agreement with the truth",
                    x_label=f"true value, {truth_unit}", y_label=f"error, {unit}")
    for ci in (found.lower_ci, found.bias_ci, found.upper_ci):
        plot.band(ci.low, ci.high, svg.PEOPLE, opacity=0.15)
    for value, word in ((found.upper, "upper limit"), (found.bias, "bias"),
                        (found.lower, "lower limit")):
        plot.level(value, svg.PEOPLE, text=f"{word} {value:+.3f}")
    some_x, some_y = thinned(x, np.clip(y, -reach, reach))
    plot.points(some_x, some_y, svg.CORRECTED)
    plot.legend("reading (beyond the frame: on it)", svg.CORRECTED, "dot")
    plot.legend("bias and 95 % limits, with their 95 % intervals", svg.PEOPLE, "dash")
    return plot.svg()


def cumulative(columns: Columns, name: str, unit: str) -> str:
    """Share of the readings within an error, per tier."""
    groups = columns.groups().get("tier") or {"all": np.ones(columns.n, dtype=bool)}
    read = columns.verdicts("read")
    series = []
    for tier, where in groups.items():
        v = np.abs(columns.number(name)[read & where])
        v = np.sort(v[np.isfinite(v)])
        if v.size:
            series.append((tier, v))
    if not series:
        return ""
    reach = max(_reach(v, 0.3) for _, v in series)
    plot = svg.Plot((0, reach), (0, 100), title="Share of the readings within an error",
                    x_label=f"|error|, {unit}", y_label="% of readings")
    plot.level(95, svg.SOFT, text="95 %")
    for k, (tier, v) in enumerate(series):
        color = svg.SERIES[k % len(svg.SERIES)]
        x, share = thinned(v, 100 * np.arange(1, v.size + 1) / v.size)
        dash = ("", "7 3", "3 3", "8 3 2 3")[k % 4]
        plot.line(np.append(x, v[-1]), np.append(share, 100.0), color, dash=dash)
        plot.legend(f"{tier} (n = {v.size})", color, "dash" if dash else "line")
        limit = VOLUME_LIMITS.get(tier)
        if limit and unit == "divisions":
            plot.points([limit[1]], [95], color, shape="cross", size=5, opacity=1)
    if unit == "divisions":
        plot.legend("required 95th percentile", svg.INK, "cross")
    return plot.svg()


def errors_by(groups: Mapping[str, Figures], key: str, unit: str) -> str:
    """Median and 95th percentile of |error| per group, corrected and naive."""
    rows = []
    for name, f in groups.items():
        ours, plain = (f.errors_div, f.naive_div) if unit == "divisions" else (f.errors, f.naive)
        if ours is not None:
            rows.append((f"{name}  ({ours.n})", ours, plain))
    if not rows:
        return ""
    top = max(max(ours.p95, plain.p95 if plain else 0.0) for _, ours, plain in rows)
    plot = svg.Plot((0, 1.08 * top), (len(rows) - 0.5, -0.5), title=f"|Error| by {key}",
                    x_label=f"|error|, {unit}: from the median to the 95th percentile",
                    height=70 + 26 * len(rows), left=190, y_ticks=[])
    plot.row_names([name for name, _, _ in rows])
    for k, (_, ours, plain) in enumerate(rows):
        for e, color, shape, shift in ((plain, svg.NAIVE, "square", 0.17),
                                       (ours, svg.CORRECTED, "dot", -0.17)):
            if e is not None:
                plot.line((e.p50, e.p95), (k + shift, k + shift), color, width=2.4)
                plot.points((e.p50, e.p95), (k + shift, k + shift), color, shape=shape, size=3.4,
                            opacity=1)
    plot.legend("corrected", svg.CORRECTED, "dot")
    plot.legend("naive", svg.NAIVE, "square")
    return plot.svg()


def coverage_by(groups: Mapping[str, Figures], key: str) -> str:
    """Interval coverage per group with exact bounds, and the required band."""
    rows = [(f"{name}  ({f.coverage.n})", f.coverage) for name, f in groups.items() if f.coverage.n]
    if not rows:
        return ""
    low = min(min(c.ci.low for _, c in rows if c.ci), 0.85)
    plot = svg.Plot((100 * low, 100), (len(rows) - 0.5, -0.5), left=190, y_ticks=[],
                    title=f"How often the 95 % interval holds the truth, by {key}",
                    x_label="% of readings (bars: Clopper-Pearson 95 %)",
                    height=70 + 22 * len(rows))
    plot.band(100 * COVERAGE_LIMITS[0], 100 * COVERAGE_LIMITS[1], svg.GOOD, across="x")
    plot.level(95, svg.SOFT, across="x")
    plot.row_names([name for name, _ in rows])
    for k, (_, c) in enumerate(rows):
        if c.ci is not None and c.rate is not None:
            plot.line((100 * c.ci.low, 100 * c.ci.high), (k, k), svg.CORRECTED, width=2)
            plot.points([100 * c.rate], [k], svg.CORRECTED, size=3.6, opacity=1)
    plot.legend("required: 92 to 98 %", svg.GOOD, "line")
    return plot.svg()

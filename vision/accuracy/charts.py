"""The plots of the report, from the columns and the figures of a run."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.accuracy.columns import Columns
from vision.accuracy.figures import Figures
from vision.accuracy.limits import COVERAGE_LIMITS, VOLUME_LIMITS
from vision.accuracy.statistics import Agreement, Slope
from vision.drawing.plot import Plot, rows
from vision.drawing.svg import Drawing

#: So many points at most are drawn; of larger sets every k-th.
MOST_POINTS = 1500

#: Series are told apart by colour and by shape or dash, so print in grey works too; the
#: page's style sheet may give each another colour.
CORRECTED, NAIVE, PEOPLE, GOOD, BAD, SOFT = (f"var(--{name}, {color})" for name, color in (
    ("corrected", "#1b6a8c"), ("naive", "#b8621b"), ("people", "#6a5a9c"), ("good", "#2c7a4b"),
    ("bad", "#b3261e"), ("soft", "#5b6b76")))
SERIES = (CORRECTED, NAIVE, PEOPLE, GOOD, SOFT)
NAMES_WIDTH = 190.0


def axes(x: tuple[float, float], y: tuple[float, float], x_label: str, y_label: str) -> Plot:
    """An empty plot with both axes."""
    plot = Plot(x, y, width=560.0, height=320.0, margins=(62.0, 12.0, 14.0, 46.0), text=12.0)
    plot.x_axis(x_label, grid=True)
    plot.y_axis(most=7)
    plot.y_label(y_label)
    return plot


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


def error_histogram(columns: Columns, name: str, naive: str, unit: str) -> Drawing | None:
    """How often each error occurs, corrected and naive."""
    read = columns.verdicts("read")
    series = [(label, v[np.isfinite(v)], color, dash) for label, v, color, dash in (
        ("corrected", columns.number(name)[read], CORRECTED, ""),
        ("naive", columns.number(naive)[read], NAIVE, "5 4"))]
    reach = _reach(series[1][1] if series[1][1].size else series[0][1], 0.5)
    edges = np.linspace(-reach, reach, 102)
    counts = [np.histogram(np.clip(v, -reach, reach), edges)[0] / max(v.size, 1)
              for _, v, _, _ in series]
    top = max(float(c.max()) for c in counts) or 1.0
    plot = axes((-reach, reach), (0, 100 * top * 1.08),
                f"error, {unit} (reading minus truth)", "% of readings")
    plot.rule(0, SOFT, across="x", dash="2 3")
    for (label, values, color, dash), share in zip(series, counts, strict=True):
        if values.size:
            plot.line(zip(np.repeat(edges, 2)[1:-1], 100 * np.repeat(share, 2), strict=True), color,
                      dash=dash, width=1.8)
            plot.key(f"{label} ({values.size} readings)", color, "line", dash)
    return plot.drawing("How often each error occurs")


def error_against_elevation(columns: Columns, corrected: Slope | None,
                            naive: Slope | None, unit: str) -> Drawing | None:
    """Error of the corrected and the naive reading against the true elevation."""
    read = columns.verdicts("read")
    elevation = columns.number("true_elevation_deg")[read]
    ours = _both(elevation, columns.number("error_div")[read])
    plain = _both(elevation, columns.number("naive_error_div")[read])
    if not ours[0].size:
        return None
    reach = _reach(plain[1] if plain[1].size else ours[1], 0.5)
    side = max(5.0, float(np.abs(ours[0]).max()) * 1.05)
    plot = axes((-side, side), (-reach, reach),
                "elevation of the sight line, degrees (camera above = positive)", f"error, {unit}")
    plot.rule(0, SOFT, dash="2 3")
    for (x, y), fit, color, shape, label in (
            (plain, naive, NAIVE, "square", "naive"),
            (ours, corrected, CORRECTED, "dot", "corrected")):
        if not x.size:
            continue
        plot.marks(zip(*thinned(x, y), strict=True), shape, color, size=2.4, opacity=0.55)
        text = label
        if fit is not None:
            plot.line([(s, fit.intercept + fit.slope * s) for s in (-side, side)], color,
                      dash="5 4" if label == "naive" else "", width=1.8)
            text += f", slope {fit.slope:+.4f} per degree"
        plot.key(text, color, shape)
    return plot.drawing("Error against the elevation of the view")


def agreement(columns: Columns, name: str, found: Agreement | None, unit: str,
              truth_unit: str) -> Drawing | None:
    """Error against the truth with the limits of agreement (Bland-Altman plot)."""
    read = columns.verdicts("read")
    x, y = _both(columns.number("truth")[read], columns.number(name)[read])
    if found is None or not x.size:
        return None
    reach = max(_reach(y, 0.5), 1.1 * max(abs(found.lower_ci.low), abs(found.upper_ci.high)))
    plot = axes((float(x.min()), float(x.max())), (-reach, reach),
                f"true value, {truth_unit}", f"error, {unit}")
    for ci in (found.lower_ci, found.bias_ci, found.upper_ci):
        plot.band(ci.low, ci.high, PEOPLE, opacity=0.15)
    for value, word in ((found.upper, "upper limit"), (found.bias, "bias"),
                        (found.lower, "lower limit")):
        plot.rule(value, PEOPLE, dash="5 4", text=f"{word} {value:+.3f}")
    plot.marks(zip(*thinned(x, y), strict=True), color=CORRECTED, size=2.4, opacity=0.55)
    plot.key("reading (beyond the frame: on it)", CORRECTED)
    plot.key("bias and 95 % limits, with their 95 % intervals", PEOPLE, "line", "5 4")
    return plot.drawing("Agreement with the truth")


def cumulative(columns: Columns, name: str, unit: str) -> Drawing | None:
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
        return None
    reach = max(_reach(v, 0.3) for _, v in series)
    plot = axes((0, reach), (0, 100), f"|error|, {unit}", "% of readings")
    plot.rule(95, SOFT, dash="5 4", text="95 %")
    for k, (tier, v) in enumerate(series):
        color = SERIES[k % len(SERIES)]
        x, share = thinned(v, 100 * np.arange(1, v.size + 1) / v.size)
        dash = ("", "7 3", "3 3", "8 3 2 3")[k % 4]
        plot.line([*zip(x, share, strict=True), (v[-1], 100.0)], color, dash=dash, width=1.8)
        plot.key(f"{tier} (n = {v.size})", color, "line", dash)
        limit = VOLUME_LIMITS.get(tier)
        if limit and unit == "divisions" and limit[1] <= reach:
            plot.marks([(limit[1], 95)], "cross", color, size=5)
    if unit == "divisions":
        plot.key("required 95th percentile", "", "cross")
    return plot.drawing("Share of the readings within an error")


def errors_by(groups: Mapping[str, Figures], key: str, unit: str, *, naive: bool = True
              ) -> Drawing | None:
    """Median and 95th percentile of |error| per group, corrected and ``naive``."""
    shown = []
    for name, f in groups.items():
        ours, plain = (f.errors_div, f.naive_div) if unit == "divisions" else (f.errors, f.naive)
        if ours is not None:
            shown.append((f"{name}  ({ours.n})", ours, plain if naive else None))
    if not shown:
        return None
    top = max(max(ours.p95, plain.p95 if plain else 0.0) for _, ours, plain in shown)
    plot = rows((0, 1.08 * top), [name for name, _, _ in shown], left=NAMES_WIDTH, step=26.0)
    plot.x_axis(f"|error|, {unit}: from the median to the 95th percentile", grid=True)
    for k, (_, ours, plain) in enumerate(shown):
        for e, color, shape, shift in ((plain, NAIVE, "square", 0.17),
                                       (ours, CORRECTED, "dot", -0.17)):
            if e is not None:
                ends = [(e.p50, k + shift), (e.p95, k + shift)]
                plot.line(ends, color, width=2.4)
                plot.marks(ends, shape, color)
    if naive:
        plot.key("corrected", CORRECTED)
        plot.key("naive", NAIVE, "square")
    return plot.drawing(f"|Error| by {key}")


def coverage_by(groups: Mapping[str, Figures], key: str) -> Drawing | None:
    """Interval coverage per group with exact bounds, and the required band."""
    shown = [(f"{name}  ({f.coverage.n})", f.coverage) for name, f in groups.items()
             if f.coverage.n]
    if not shown:
        return None
    low = min(min(c.ci.low for _, c in shown if c.ci), 0.85)
    plot = rows((100 * low, 100), [name for name, _ in shown], left=NAMES_WIDTH, step=22.0)
    plot.x_axis("% of readings (bars: Clopper-Pearson 95 %)", grid=True)
    plot.band(100 * COVERAGE_LIMITS[0], 100 * COVERAGE_LIMITS[1], GOOD, across="x")
    plot.rule(95, SOFT, across="x", dash="5 4")
    for k, (_, c) in enumerate(shown):
        if c.ci is not None and c.rate is not None:
            plot.line([(100 * c.ci.low, k), (100 * c.ci.high, k)], CORRECTED)
            plot.marks([(100 * c.rate, k)], color=CORRECTED, size=3.6)
    plot.key("required: 92 to 98 %", GOOD, "line")
    return plot.drawing(f"How often the 95 % interval holds the truth, by {key}")


def shares(groups: Mapping[str, Figures]) -> Drawing:
    """Share of the pictures read, refused and silently misread, per group."""
    plot = rows((0, 100), list(groups), left=210.0, step=17.0, width=760.0)
    plot.x_axis("% of pictures", grid=True)
    for k, f in enumerate(groups.values()):
        read = f.scored + f.read_though_not_to_be
        edges = [100 * x / max(f.n, 1) for x in (0, f.misreads.count, read, f.n)]
        for a, b, color, thick in ((edges[0], edges[1], BAD, 11.0),
                                   (edges[1], edges[2], CORRECTED, 9.0),
                                   (edges[2], edges[3], "#c9d1d6", 5.0)):
            if b > a:
                plot.line([(a, k), (b, k)], color, width=thick)
    plot.key("read within a division", CORRECTED, "line")
    plot.key("refused", "#c9d1d6", "line")
    plot.key("silent misread", BAD, "line")
    return plot.drawing("Share of the pictures read, refused and silently misread")

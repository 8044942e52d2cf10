"""Three of a shift's plots, each with its whole content in words; the first, of the output,
is :mod:`app.exports.output_plot`."""

from __future__ import annotations

from datetime import datetime

from app.records.shift import BedAccount
from app.ui.shift.series import (
    LevelPoint,
    PressurePoint,
    level_points,
    moves,
    threshold_points,
)
from vision.drawing.plot import Plot, plain_number, spread
from vision.drawing.svg import Drawing
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, both_units, convert
from vision.output import cumulative
from vision.output.model import K95


def cumulative_plot(bed: BedAccount, start: datetime, end: datetime) -> Drawing | None:
    """mL since the first reading shown, with 95 % intervals."""
    points = cumulative(bed.account)
    if not points:
        return None
    rows = [(bed.account.intervals[0].start, 0.0, 0.0),
            *((at, float(total), u) for at, total, u in points)]
    low, high = spread([v + s * K95 * u for _, v, u in rows for s in (-1, 1)])
    plot = Plot((start, end), (low, high))
    plot.head("Cumulative output, mL")
    plot.y_axis()
    plot.line([(at, v) for at, v, _ in rows])
    for at, v, u in rows[1:]:
        plot.whisker(at, v - K95 * u, v + K95 * u)
        plot.marks([(at, v)])
    plot.x_axis()
    words = "; ".join(f"{at:%Y-%m-%d %H:%M}: {v:g} mL" for at, v, _ in rows)
    return plot.drawing(f"Cumulative output since the first reading shown. {words}.")


def level_plot(bed: BedAccount, start: datetime, end: datetime) -> Drawing | None:
    """Offsets of the level checks; a change of position ends what a check says."""
    points = [p for p in level_points(bed.standings) if start <= p.at <= end]
    if not points:
        return None
    values = [v for p in points for v in (p.offset_cm, *(p.interval_cm or ())) if v is not None]
    reach = max([abs(v) for v in values] + [1.0]) * 1.15
    plot = Plot((start, end), (-reach, reach))
    plot.head("Level checks, cm (+ = system hangs too high)")
    plot.y_axis()
    plot.rule(0.0, dash="", width=1.4)
    for at in moves(bed.standings):
        if start <= at <= end:
            plot.rule(at, across="x", dash="6 3", width=1.1)
            plot.words(min(plot.x(at), plot.size[0] - 18), 29, "moved", "middle")
    for p in points:
        if p.offset_cm is None:
            plot.marks([(p.at, -reach)], "ring", size=4)
            continue
        if p.interval_cm is not None:
            plot.whisker(p.at, *p.interval_cm)
        plot.marks([(p.at, p.offset_cm)])
    plot.x_axis()
    moved = [f"{at:%H:%M} moved" for at in moves(bed.standings) if start <= at <= end]
    return plot.drawing("Level checks. " + "; ".join([*map(_level_words, points), *moved]) + ".")


def _level_words(p: LevelPoint) -> str:
    if p.offset_cm is None:
        return f"{p.at:%Y-%m-%d %H:%M} by the usual method"
    reach = "" if p.interval_cm is None else \
        f" ({plain_number(p.interval_cm[0])} to {plain_number(p.interval_cm[1])})"
    return f"{p.at:%Y-%m-%d %H:%M} {plain_number(p.offset_cm)} cm{reach}"


def threshold_plot(bed: BedAccount, start: datetime, end: datetime) -> Drawing | None:
    """Ordered, set and effective thresholds; cmH2O on the left, mmHg on the right."""
    found = threshold_points(bed.standings, bed.order)
    if not found.all:
        return None
    low, high = spread([v for p in found.all for v in (p.cm_h2o, *(p.interval_cm_h2o or ()))],
                       zero=False, least=4.0)
    low, high = low - 1.0, high + 1.0
    plot = Plot((start, end), (low, high), margins=(40.0, 34.0, 36.0, 36.0))
    plot.head("Threshold, cmH2O")
    plot.y_axis()
    plot.other_y_axis(lambda v: convert(v, CM_H2O_CODE, MM_HG_CODE),
                    lambda v: convert(v, MM_HG_CODE, CM_H2O_CODE), "mmHg")
    for k, p in enumerate(found.ordered):
        until = found.ordered[k + 1].at if k + 1 < len(found.ordered) else end
        if until >= start:
            plot.line([(max(p.at, start), p.cm_h2o), (until, p.cm_h2o)])
    for p in found.settings:
        if p.at >= start:
            plot.marks([(p.at, p.cm_h2o)], "ring", size=4)
    for p in found.effective:
        if p.at >= start:
            if p.interval_cm_h2o is not None:
                plot.whisker(p.at, *p.interval_cm_h2o)
            plot.marks([(p.at, p.cm_h2o)], "diamond")
    plot.x_axis()
    words = [f"{name} {_pressure_words(p)}" for name, points in (
        ("ordered", found.ordered), ("panel set to", found.settings),
        ("effective", found.effective)) for p in points]
    return plot.drawing(f"Thresholds in both units. {'; '.join(words)}.")


def _pressure_words(p: PressurePoint) -> str:
    return f"{both_units(p.cm_h2o)} at {p.at:%Y-%m-%d %H:%M}"

"""The four plots of a shift, each with its whole content in words."""

from __future__ import annotations

from datetime import datetime

from app.exports.account_text import rate_words, span
from app.records.shift import BedAccount
from app.ui.shift.plot import Drawing, TimePlot, plain_number, spread
from app.ui.shift.series import (
    LevelPoint,
    PressurePoint,
    level_points,
    moves,
    threshold_points,
)
from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE, both_units, convert
from vision.output import cumulative
from vision.output.model import K95

#: One letter an event, drawn above the output; the page prints the same list below it.
LETTERS = {"chamber-emptied": "E", "bag-changed": "B", "drain-closed": "C", "drain-opened": "O",
           "sample-taken": "S", "position-changed": "P"}
_RIGHT_FOR_AXIS = 36


def output_plot(bed: BedAccount, start: datetime, end: datetime) -> Drawing | None:
    """mL/h of every interval: the area of a block is its volume.  None without intervals."""
    intervals = bed.account.intervals
    if not intervals:
        return None
    values, words = [], []
    for i in intervals:
        if i.counted and i.ml_per_hour is not None:
            reach = K95 * (i.u_ml_per_hour or 0.0)
            values += [i.ml_per_hour + reach, i.ml_per_hour - reach]
        words.append(f"{span(i.start, i.end)}: {rate_words(i)}")
    limit = bed.limits.ml_per_hour
    if limit is not None:
        values.append(float(limit))
    low, high = spread(values)
    plot = TimePlot(start, end, low, high)
    plot.head("Output, mL/h" + ("" if limit is None else f" (dashed: your limit, {limit})"))
    plot.value_axis()
    for i in intervals:
        if i.counted and i.ml_per_hour is not None:
            plot.block(i.start, i.end, i.ml_per_hour)
            reach = K95 * (i.u_ml_per_hour or 0.0)
            middle = i.start + (i.end - i.start) / 2
            plot.whisker(middle, i.ml_per_hour - reach, i.ml_per_hour + reach)
        elif not i.counted:  # too short for a rate: no block; its volume is in the sum
            plot.block(i.start, i.end, 0.5 * high, sure=False)
            plot.text((plot.x(i.start) + plot.x(i.end)) / 2, plot.y(0.5 * high) + 15, "?",
                      "middle", 650)
    if limit is not None:
        plot.level_line(float(limit))
    _events(plot, bed)
    plot.time_axis()
    limited = "" if limit is None else f" Your limit: {limit} mL/h."
    return plot.drawing(f"Output in mL/h by interval. {'; '.join(words)}.{limited}")


def _events(plot: TimePlot, bed: BedAccount) -> None:
    """Letters above the frame; those too close together share a place."""
    places: list[tuple[float, str]] = []
    for event in bed.account.events:
        if not plot.start <= event.at <= plot.end:
            continue
        letter, x = LETTERS[event.name], plot.x(event.at)
        if places and x - places[-1][0] < 8 + 8 * len(places[-1][1]):
            before = places.pop()
            letter = before[1] if letter in before[1] else before[1] + letter
            x = before[0]
        places.append((x, letter))
        plot.moment_line(event.at)
    for x, letters in places:
        plot.text(x, 29, letters, "middle", 650)


def cumulative_plot(bed: BedAccount, start: datetime, end: datetime) -> Drawing | None:
    """mL since the first reading shown, with 95 % intervals."""
    points = cumulative(bed.account)
    if not points:
        return None
    rows = [(bed.account.intervals[0].start, 0.0, 0.0),
            *((at, float(total), u) for at, total, u in points)]
    low, high = spread([v + s * K95 * u for _, v, u in rows for s in (-1, 1)])
    plot = TimePlot(start, end, low, high)
    plot.head("Cumulative output, mL")
    plot.value_axis()
    plot.line([(at, v) for at, v, _ in rows])
    for at, v, u in rows[1:]:
        plot.whisker(at, v - K95 * u, v + K95 * u)
        plot.mark(at, v)
    plot.time_axis()
    words = "; ".join(f"{at:%Y-%m-%d %H:%M}: {v:g} mL" for at, v, _ in rows)
    return plot.drawing(f"Cumulative output since the first reading shown. {words}.")


def level_plot(bed: BedAccount, start: datetime, end: datetime) -> Drawing | None:
    """Offsets of the level checks; a change of position ends what a check says."""
    points = [p for p in level_points(bed.standings) if start <= p.at <= end]
    if not points:
        return None
    values = [v for p in points for v in (p.offset_cm, *(p.interval_cm or ())) if v is not None]
    reach = max([abs(v) for v in values] + [1.0]) * 1.15
    plot = TimePlot(start, end, -reach, reach)
    plot.head("Level checks, cm (+ = system hangs too high)")
    plot.value_axis()
    plot.level_line(0.0, "")
    for at in moves(bed.standings):
        if start <= at <= end:
            plot.moment_line(at, "moved", "6 3")
    for p in points:
        if p.offset_cm is None:
            plot.mark(p.at, -reach, "ring")
            continue
        if p.interval_cm is not None:
            plot.whisker(p.at, *p.interval_cm)
        plot.mark(p.at, p.offset_cm)
    plot.time_axis()
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
    plot = TimePlot(start, end, low, high, right_margin=_RIGHT_FOR_AXIS)
    plot.head("Threshold, cmH2O")
    plot.value_axis()
    plot.other_axis(lambda v: convert(v, CM_H2O_CODE, MM_HG_CODE),
                    lambda v: convert(v, MM_HG_CODE, CM_H2O_CODE), "mmHg")
    for k, p in enumerate(found.ordered):
        until = found.ordered[k + 1].at if k + 1 < len(found.ordered) else end
        if until >= start:
            plot.line([(max(p.at, start), p.cm_h2o), (until, p.cm_h2o)])
    for p in found.settings:
        if p.at >= start:
            plot.mark(p.at, p.cm_h2o, "ring")
    for p in found.effective:
        if p.at >= start:
            if p.interval_cm_h2o is not None:
                plot.whisker(p.at, *p.interval_cm_h2o)
            plot.mark(p.at, p.cm_h2o, "diamond")
    plot.time_axis()
    words = [f"{name} {_pressure_words(p)}" for name, points in (
        ("ordered", found.ordered), ("panel set to", found.settings),
        ("effective", found.effective)) for p in points]
    return plot.drawing(f"Thresholds in both units. {'; '.join(words)}.")


def _pressure_words(p: PressurePoint) -> str:
    return f"{both_units(p.cm_h2o)} at {p.at:%Y-%m-%d %H:%M}"

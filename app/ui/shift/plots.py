"""The four plots of a shift, each with its whole content in words."""

from __future__ import annotations

from datetime import datetime

from app.exports.account_text import rate_words, span
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

#: One letter an event, drawn above the output; the page prints the same list below it.
LETTERS = {"chamber-emptied": "E", "bag-changed": "B", "drain-closed": "C", "drain-opened": "O",
           "sample-taken": "S", "position-changed": "P", "fluid-seen": "F", "little-output": "L",
           "person-told": "T", "dressing-seen": "D", "drainage-ended": "X"}


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
    plot = Plot((start, end), (low, high))
    plot.head("Output, mL/h" + ("" if limit is None else f" (dashed: your limit, {limit})"))
    plot.y_axis()
    for i in intervals:
        if i.counted and i.ml_per_hour is not None:
            plot.area((i.start, i.end), (0.0, i.ml_per_hour), fill="currentColor",
                      fill_opacity=0.28, stroke_width=1.4)
            reach = K95 * (i.u_ml_per_hour or 0.0)
            middle = i.start + (i.end - i.start) / 2
            plot.whisker(middle, i.ml_per_hour - reach, i.ml_per_hour + reach)
        elif not i.counted:  # too short for a rate: no block; its volume is in the sum
            plot.area((i.start, i.end), (0.0, 0.5 * high), stroke_width=1.4,
                      stroke_dasharray="3 3")
            plot.words((plot.x(i.start) + plot.x(i.end)) / 2, plot.y(0.5 * high) + 15, "?",
                       "middle", weight=650)
    if limit is not None:
        plot.rule(float(limit), width=1.4)
    _events(plot, bed, start, end)
    plot.x_axis()
    limited = "" if limit is None else f" Your limit: {limit} mL/h."
    looks = [f"{e.said} at {e.at:%H:%M}" for e in bed.account.events
             if e.name == "fluid-seen" and start <= e.at <= end]
    seen = f" {'; '.join(looks)}.".replace(" f", " F", 1) if looks else ""
    return plot.drawing(f"Output in mL/h by interval. {'; '.join(words)}.{limited}{seen}")


def _events(plot: Plot, bed: BedAccount, start: datetime, end: datetime) -> None:
    """Letters above the frame; those too close together share a place."""
    places: list[tuple[float, str]] = []
    for event in bed.account.events:
        if event.seen or not start <= event.at <= end:
            continue  # what was seen is no change
        letter, x = LETTERS[event.name], plot.x(event.at)
        if places and x - places[-1][0] < 8 + 8 * len(places[-1][1]):
            before = places.pop()
            letter = before[1] if letter in before[1] else before[1] + letter
            x = before[0]
        places.append((x, letter))
        plot.rule(event.at, across="x", dash="2 4", width=1.1)
    for x, letters in places:
        plot.words(x, 29, letters, "middle", weight=650)


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

"""The plot of a shift's output, for the page and the sheet, with its whole content in words."""

from __future__ import annotations

from datetime import datetime

from app.exports.account_text import rate_words, span
from app.records.shift import BedAccount
from vision.drawing.plot import Plot, spread
from vision.drawing.svg import Drawing
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

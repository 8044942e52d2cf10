"""Plots for report, pages, sheets and guides: axes, lines, intervals, limits, marks, words.

A library that draws the same takes half a second to import, gives no title that a screen
reader says, and no drawing that follows the colour of the page.  Here everything is in
``currentColor`` unless a colour is given, and grid, numbers and frame carry a class that a
style sheet may colour.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta

from markupsafe import Markup

from vision.drawing.svg import Drawing, along, cut, drawing, element, path, words

#: A value on an axis: a number, or a moment.
Value = float | datetime
Span = tuple[Value, Value]
#: Hours between two marks of a time axis.
_STEPS_H = (1, 2, 3, 4, 6, 12, 24, 48, 96, 192)


class Plot:
    """A plot area with linear axes; everything is given in data coordinates.

    ``x`` and ``y`` are (low, high), numbers or moments; ``margins`` are left, top, right and
    bottom.  Marks and intervals beyond an axis are drawn on the frame, lines are cut there.
    """

    def __init__(self, x: Span, y: Span, *, width: float = 360.0, height: float = 216.0,
                 margins: tuple[float, float, float, float] = (40.0, 34.0, 12.0, 36.0),
                 text: float = 11.5) -> None:
        self.spans = (_span(x), _span(y))
        self.limits = (x, y)
        left, top, right, bottom = margins
        self.box = (left, top, width - right, height - bottom)
        self.size = (width, height)
        self.parts: list[Markup] = []
        self.legend: list[tuple[str, Markup]] = []
        self._text = text

    # ------------------------------------------------------------------ places
    def x(self, value: Value) -> float:
        """Across, kept inside the frame."""
        return min(self.box[2], max(self.box[0], self._at(0, value)))

    def y(self, value: Value) -> float:
        """Down, kept inside the frame."""
        return min(self.box[3], max(self.box[1], self._at(1, value)))

    def _at(self, axis: int, value: Value) -> float:
        low, high = self.spans[axis]
        share = (_real(value) - low) / (high - low)
        begin, end = self.box[axis], self.box[axis + 2]
        return end - share * (end - begin) if axis else begin + share * (end - begin)

    # ------------------------------------------------------------------ data
    def line(self, points: Iterable[tuple[Value, Value]], color: str = "", *, dash: str = "",
             width: float = 2.0) -> None:
        """Straight pieces from point to point, cut off at the frame."""
        free = [(self._at(0, a), self._at(1, b)) for a, b in points]
        x0, y0, x1, y1 = self.box
        drawn = path(along(free), fill="none", stroke=color, stroke_width=width,
                     stroke_dasharray=dash)
        inside = all(x0 <= a <= x1 and y0 <= b <= y1 for a, b in free)
        if free:
            self.parts.append(drawn if inside else cut(x0, y0, x1 - x0, y1 - y0, drawn))

    def marks(self, points: Iterable[tuple[Value, Value]], shape: str = "dot", color: str = "", *,
              size: float = 3.4, opacity: float | None = None) -> None:
        """A sign at each point: "dot", "ring", "square", "diamond" or "cross"."""
        shown = [mark(self.x(a), self.y(b), shape, size) for a, b in points]
        self.parts.append(element("g", *shown, opacity=opacity, **_ink(shape, color)))

    def whisker(self, at: Value, low: Value, high: Value) -> None:
        """How far an interval reaches."""
        x, a, b = self.x(at), self.y(low), self.y(high)
        self.parts.append(path(f"M{x:.1f} {a:.1f}V{b:.1f}M{x - 3.5:.1f} {a:.1f}h7"
                               f"M{x - 3.5:.1f} {b:.1f}h7", stroke_width=1.2))

    def area(self, x: Span, y: Span, **look: object) -> None:
        """A rectangle between two values of x and two of y."""
        (x0, x1), (y0, y1) = sorted(map(self.x, x)), sorted(map(self.y, y))
        self.parts.append(element("rect", x=x0, y=y0, width=max(1.0, x1 - x0), height=y1 - y0,
                                  **look))

    def band(self, low: Value, high: Value, color: str, *, across: str = "y",
             opacity: float = 0.12) -> None:
        """A shaded band between two values of y (or of x)."""
        x, y = self.limits
        self.area(*((x, (low, high)) if across == "y" else ((low, high), y)), fill=color,
                  fill_opacity=opacity, stroke="none")

    def rule(self, value: Value, color: str = "", *, across: str = "y", dash: str = "7 4",
             text: str = "", width: float = 1.3) -> None:
        """A line at one value of y (or of x) across the plot, with a word at its end."""
        x0, y0, x1, y1 = self.box
        low, high = sorted(self.spans[across == "y"])
        if not low <= _real(value) <= high:
            return
        at = self.y(value) if across == "y" else self.x(value)
        d = f"M{x0:g} {at:.1f}H{x1:g}" if across == "y" else f"M{at:.1f} {y0:g}V{y1:g}"
        self.parts.append(path(d, stroke=color, stroke_width=width, stroke_dasharray=dash))
        if across == "y":
            self.words(x1 - 4, at - 4, text, "end", fill=color or "currentColor")
        else:
            self.words(at + 4, y0 + 12, text, fill=color or "currentColor")

    # ------------------------------------------------------------------ axes and words
    def words(self, x: float, y: float, text: str, anchor: str = "", **look: object) -> None:
        """Words at a place in drawing units."""
        self.parts.append(words(x, y, text, size=self._text, anchor=anchor, **look))

    def head(self, text: str) -> None:
        """What the plot shows, above it."""
        self.words(4, 12, text, weight=650)

    def y_axis(self, values: Sequence[float] | None = None, most: int = 5) -> None:
        """A fine line across and a number on the left at each of ``values``, or at round ones."""
        x0, _, x1, _ = self.box
        for value in ticks(*self.spans[1], most) if values is None else values:
            y = self.y(value)
            self.parts.append(path(f"M{x0:g} {y:.1f}H{x1:g}", class_="grid", stroke_width=0.6,
                                   opacity=0.4))
            self.words(x0 - 6, y + 4, plain_number(value), "end", class_="number")

    def other_y_axis(self, convert: Callable[[float], float], back: Callable[[float], float],
                     unit: str) -> None:
        """Marks on the right in another unit, at round numbers of that unit."""
        _, y0, x1, y1 = self.box
        self.parts.append(path(f"M{x1:g} {y0:g}V{y1:g}", stroke_width=1))
        for value in ticks(convert(self.spans[1][0]), convert(self.spans[1][1])):
            y = self.y(back(value))
            self.parts.append(path(f"M{x1:g} {y:.1f}h4", stroke_width=1.2))
            self.words(x1 + 6, y + 4, plain_number(value))
        self.words(self.size[0] - 4, 12, unit, "end", weight=650)

    def x_axis(self, label: str = "", *, most: int = 7, grid: bool = False) -> None:
        """Round numbers below the frame, or full hours with the date where a day begins."""
        x0, y0, x1, y1 = self.box
        start, end = self.limits[0]
        closed = f"V{y0:g}z" if grid else ""
        self.parts.append(path(f"M{x0:g} {y0:g}V{y1:g}H{x1:g}{closed}", class_="frame",
                               stroke_width=1.2))
        day = None
        if isinstance(start, datetime) and isinstance(end, datetime):
            for at in time_ticks(start, end):
                self._x_mark(at, f"{at:%H:%M}", grid)
                if at.date() != day:
                    self.words(self.x(at), y1 + 30, f"{at:%Y-%m-%d}", "middle", class_="number")
                    day = at.date()
        else:
            for value in ticks(*self.spans[0], most):
                self._x_mark(value, plain_number(value), grid)
        self.words((x0 + x1) / 2, self.size[1] - 8, label, "middle", class_="label")

    def _x_mark(self, value: Value, text: str, grid: bool) -> None:
        x, (_, y0, _, y1) = self.x(value), self.box
        self.parts.append(path(f"M{x:.1f} {y0:g}V{y1:g}", class_="grid", stroke_width=0.6,
                               opacity=0.4) if grid else
                          path(f"M{x:.1f} {y1:g}v4", stroke_width=1.2))
        self.words(x, y1 + 16, text, "middle", class_="number")

    def y_label(self, text: str) -> None:
        """What the value axis shows, along it."""
        middle = (self.box[1] + self.box[3]) / 2
        self.parts.append(words(0, 0, text, size=self._text, anchor="middle", class_="label",
                                transform=f"translate(14 {middle:.0f}) rotate(-90)"))

    def key(self, text: str, color: str, shape: str = "dot", dash: str = "") -> None:
        """An entry of the legend: a sign of :meth:`marks`, or "line"."""
        sign = path("M1 6H25", stroke=color, stroke_width=2, stroke_dasharray=dash) \
            if shape == "line" else element("g", mark(13, 6, shape, 4), **_ink(shape, color))
        self.legend.append((text, element("svg", sign, width=26, height=12)))

    def drawing(self, title: str) -> Drawing:
        """The finished plot; ``title`` says what it shows in words."""
        return drawing(self.parts, title, *self.size, self.legend)


def rows(x: tuple[float, float], names: Sequence[str], *, left: float, step: float,
         width: float = 560.0, top: float = 12.0, bottom: float = 46.0, text: float = 12.0) -> Plot:
    """A plot with a named row at y = 0, 1, 2, ..., from the top."""
    plot = Plot(x, (len(names) - 0.5, -0.5), width=width, text=text,
                height=top + bottom + step * len(names), margins=(left, top, 14.0, bottom))
    for k, name in enumerate(names):
        plot.words(left - 8, plot.y(k) + 4, name, "end", class_="label")
    return plot


def mark(x: float, y: float, shape: str, size: float) -> Markup:
    """One sign."""
    s = size
    if shape in ("dot", "ring"):
        return element("circle", cx=round(x, 1), cy=round(y, 1), r=s)
    return path({"square": f"M{x - s:.1f} {y - s:.1f}h{2 * s:g}v{2 * s:g}h{-2 * s:g}z",
                 "diamond": f"M{x:.1f} {y - 1.5 * s:.1f}l{1.5 * s:g} {1.5 * s:g}"
                            f"-{1.5 * s:g} {1.5 * s:g}-{1.5 * s:g}-{1.5 * s:g}z",
                 "cross": f"M{x - s:.1f} {y - s:.1f}l{2 * s:g} {2 * s:g}m0-{2 * s:g}"
                          f"l-{2 * s:g} {2 * s:g}"}[shape])


def _ink(shape: str, color: str) -> dict[str, object]:
    if shape in ("dot", "diamond"):
        return {"fill": color or "currentColor", "stroke": "none"}
    return {"fill": "none", "stroke": color or "currentColor", "stroke_width": 1.4}


def ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Round values from ``low`` to ``high``, at most ``most``, in steps of 1, 2 or 5."""
    span = high - low
    if span <= 0 or not math.isfinite(span):
        return [low]
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(s * power for s in (1, 2, 5, 10, 20)
                if math.floor(high / (s * power) + 1e-9) - math.ceil(low / (s * power) - 1e-9)
                < most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(k * step, 9) + 0.0 for k in range(first, last + 1)]


def time_ticks(start: datetime, end: datetime, most: int = 6) -> list[datetime]:
    """Full hours of the wall clock that ``start`` carries, at most ``most``."""
    hours = (end - start).total_seconds() / 3600
    step = next((s for s in _STEPS_H if hours / s <= most - 1), 24 * math.ceil(hours / 24 / 5))
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    count = int((end - midnight).total_seconds() / 3600 / step)
    marks = (midnight + timedelta(hours=k * step) for k in range(count + 1))
    return [at for at in marks if at >= start]


def plain_number(value: float) -> str:
    """Few digits and a true minus sign."""
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")


def spread(values: Sequence[float], *, zero: bool = True, least: float = 1.0
           ) -> tuple[float, float]:
    """A value axis that holds all values with a little room; ``zero`` keeps zero on it."""
    held = [*values, *([0.0] if zero else [])] or [0.0]
    low, high = min(held), max(held)
    room = max(high - low, least) * 0.12
    return (low - room if low < 0 or not zero else low), high + room


def rounded(low: float, high: float, most: int = 6) -> tuple[float, float]:
    """(low, high), each moved out to a round value."""
    marks = ticks(low, high, most)
    step = marks[1] - marks[0] if len(marks) > 1 else 1.0
    low = math.floor(low / step + 1e-9) * step
    return low, max(math.ceil(high / step - 1e-9) * step, low + step)


def _real(value: Value) -> float:
    return value.timestamp() if isinstance(value, datetime) else float(value)


def _span(span: Span) -> tuple[float, float]:
    low, high = map(_real, span)
    return (low, high) if high != low else (low - 0.5, high + 0.5)

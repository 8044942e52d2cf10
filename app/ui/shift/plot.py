"""Plots over time as line drawings: one colour, words on them, nothing fetched from anywhere.

Drawing units are CSS pixels of a small phone; larger screens scale the whole.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from html import escape

WIDTH, HEIGHT = 360, 216
_LEFT, _TOP, _BOTTOM = 40, 34, 36
_TEXT = 11.5
#: Hours between two marks of the time axis.
_STEPS_H = (1, 2, 3, 4, 6, 12, 24, 48, 96, 192)


@dataclass(frozen=True)
class Drawing:
    """A finished plot; ``title`` says all of it in words."""

    svg: str
    title: str
    width: float = WIDTH
    height: float = HEIGHT


@dataclass
class TimePlot:
    """A plot of values between two moments; ``low`` to ``high`` is the value axis."""

    start: datetime
    end: datetime
    low: float
    high: float
    right_margin: float = 12
    parts: list[str] = field(default_factory=list)

    def x(self, at: datetime) -> float:
        """Across, kept inside the frame."""
        whole = (self.end - self.start).total_seconds() or 1.0
        share = (at - self.start).total_seconds() / whole
        return _LEFT + min(1.0, max(0.0, share)) * (WIDTH - _LEFT - self.right_margin)

    def y(self, value: float) -> float:
        """Down, kept inside the frame."""
        share = (value - self.low) / ((self.high - self.low) or 1.0)
        return HEIGHT - _BOTTOM - min(1.0, max(0.0, share)) * (HEIGHT - _TOP - _BOTTOM)

    def line(self, points: Sequence[tuple[datetime, float]], dash: str = "", wide: float = 2
             ) -> None:
        """Straight pieces from point to point."""
        path = " ".join(f"{'ML'[k > 0]}{self.x(t):.1f} {self.y(v):.1f}"
                        for k, (t, v) in enumerate(points))
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(f'<path d="{path}" stroke-width="{wide}"{dashed}/>')

    def whisker(self, at: datetime, low: float, high: float) -> None:
        """How far the 95 % interval reaches."""
        x, a, b = self.x(at), self.y(low), self.y(high)
        self.parts.append(f'<path d="M{x:.1f} {a:.1f}V{b:.1f}M{x - 3.5:.1f} {a:.1f}h7'
                          f'M{x - 3.5:.1f} {b:.1f}h7" stroke-width="1.2"/>')

    def mark(self, at: datetime, value: float, shape: str = "dot") -> None:
        """A sign at a value: "dot", "ring", "diamond" or "cross"."""
        x, y = self.x(at), self.y(value)
        self.parts.append({
            "dot": f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.4" fill="black"/>',
            "ring": f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" stroke-width="1.6"/>',
            "diamond": f'<path d="M{x:.1f} {y - 5:.1f}l5 5-5 5-5-5z" fill="black"/>',
            "cross": f'<path d="M{x - 4:.1f} {y - 4:.1f}l8 8m0-8l-8 8" stroke-width="1.6"/>',
        }[shape])

    def block(self, start: datetime, end: datetime, value: float, *, sure: bool = True) -> None:
        """A block from zero to a value; ``sure`` False draws its outline alone, dashed."""
        x0, x1 = self.x(start), self.x(end)
        a, b = sorted((self.y(0), self.y(value)))
        how = 'fill="black" fill-opacity=".28"' if sure else 'stroke-dasharray="3 3"'
        self.parts.append(f'<rect x="{x0:.1f}" y="{a:.1f}" width="{max(1.0, x1 - x0):.1f}" '
                          f'height="{b - a:.1f}" stroke-width="1.4" {how}/>')

    def level_line(self, value: float, dash: str = "7 4") -> None:
        """A line across the whole plot."""
        if self.low <= value <= self.high:
            self.parts.append(f'<path d="M{_LEFT} {self.y(value):.1f}H{WIDTH - self.right_margin}" '
                              f'stroke-width="1.4" stroke-dasharray="{dash}"/>')

    def moment_line(self, at: datetime, words: str = "", dash: str = "2 4") -> None:
        """A line from top to bottom at a moment, named above the frame."""
        x = self.x(at)
        self.parts.append(f'<path d="M{x:.1f} {_TOP}V{HEIGHT - _BOTTOM}" stroke-width="1.1" '
                          f'stroke-dasharray="{dash}"/>')
        if words:
            self.text(min(x, WIDTH - 18), _TOP - 5, words, "middle")

    def text(self, x: float, y: float, words: str, anchor: str = "start", weight: int = 400
             ) -> None:
        """Words at a place in drawing units."""
        self.parts.append(f'<text x="{x:.1f}" y="{y:.1f}" font-size="{_TEXT}" stroke="none" '
                          f'fill="black" text-anchor="{anchor}" font-weight="{weight}">'
                          f'{escape(words)}</text>')

    def head(self, words: str) -> None:
        """What the value axis shows, above it."""
        self.text(4, 12, words, weight=650)

    def value_axis(self) -> None:
        """Marks and numbers on the left."""
        for value in nice_marks(self.low, self.high):
            y = self.y(value)
            self.parts.append(f'<path d="M{_LEFT - 4} {y:.1f}H{_LEFT}" stroke-width="1.2"/>'
                              f'<path d="M{_LEFT} {y:.1f}H{WIDTH - self.right_margin}" '
                              'stroke-width=".6" opacity=".4"/>')
            self.text(_LEFT - 6, y + 4, plain_number(value), "end")

    def other_axis(self, convert: Callable[[float], float], back: Callable[[float], float],
                   unit: str) -> None:
        """Marks on the right in another unit, at round numbers of that unit."""
        right = WIDTH - self.right_margin
        self.parts.append(f'<path d="M{right} {_TOP}V{HEIGHT - _BOTTOM}" stroke-width="1"/>')
        for value in nice_marks(convert(self.low), convert(self.high)):
            y = self.y(back(value))
            self.parts.append(f'<path d="M{right} {y:.1f}h4" stroke-width="1.2"/>')
            self.text(right + 6, y + 4, plain_number(value))
        self.text(WIDTH - 4, 12, unit, "end", 650)

    def time_axis(self) -> None:
        """Hours below the frame, the date where a day begins and at the first mark."""
        bottom = HEIGHT - _BOTTOM
        self.parts.append(f'<path d="M{_LEFT} {_TOP}V{bottom}H{WIDTH - self.right_margin}" '
                          'stroke-width="1.2"/>')
        day = None
        for at in time_marks(self.start, self.end):
            x = self.x(at)
            self.parts.append(f'<path d="M{x:.1f} {bottom}v4" stroke-width="1.2"/>')
            self.text(x, bottom + 16, f"{at:%H:%M}", "middle")
            if at.date() != day:
                self.text(x, bottom + 30, f"{at:%d %b}", "middle")
                day = at.date()

    def drawing(self, title: str) -> Drawing:
        """The finished plot."""
        return Drawing(
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
            f'font-family="sans-serif" fill="none" stroke="black">{"".join(self.parts)}</svg>',
            title)


def nice_marks(low: float, high: float, most: int = 5) -> list[float]:
    """Round values from ``low`` to ``high``, at most ``most``, in steps of 1, 2 or 5."""
    span = high - low
    if span <= 0 or not math.isfinite(span):
        return [low]
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(s * power for s in (1, 2, 5, 10, 20)
                if math.floor(high / (s * power) + 1e-9) - math.ceil(low / (s * power) - 1e-9)
                < most)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(k * step, 9) + 0.0 for k in range(first, last + 1)]


def time_marks(start: datetime, end: datetime, most: int = 6) -> list[datetime]:
    """Full hours of the wall clock that ``start`` carries, at most ``most``."""
    hours = (end - start).total_seconds() / 3600
    step = next((s for s in _STEPS_H if hours / s <= most - 1), 24 * math.ceil(hours / 24 / 5))
    at = start.replace(hour=0, minute=0, second=0, microsecond=0)
    marks = []
    while at <= end:
        if at >= start:
            marks.append(at)
        at += timedelta(hours=step)
    return marks


def plain_number(value: float) -> str:
    """Few digits and a true minus sign."""
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")


def spread(values: Sequence[float], *, zero: bool = True, least: float = 1.0
           ) -> tuple[float, float]:
    """A value axis that holds all values with a little room; ``zero`` keeps zero on it."""
    all_values = [*values, *([0.0] if zero else [])] or [0.0]
    low, high = min(all_values), max(all_values)
    room = max(high - low, least) * 0.12
    return (low - room if low < 0 or not zero else low), high + room

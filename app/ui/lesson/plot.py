"""A plot in one colour: lines, points, plain axes.  Pure: numbers in, drawing out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from app.ui.threshold.side_view import Drawing
from vision.hydrostatics.units import number_text

_WIDTH, _HEIGHT, _TEXT = 424.0, 292.0, 14.0
_NAMED_RIGHT = 44.0  # room for the names at the ends of lines
_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 16.0, 34.0, 48.0

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Line:
    """A line through points (x, y); ``dash`` as in SVG, ``name`` is written at its end."""

    points: Points
    name: str = ""
    dash: str = ""


@dataclass(frozen=True)
class Plot:
    """What is drawn.  ``now`` is the present point, ``held`` are points kept for comparison,
    ``guides`` are heights (y) of fine dashed lines."""

    lines: Sequence[Line]
    x_words: str
    y_words: str
    title: str
    now: tuple[float, float] | None = None
    held: Points = ()
    guides: Sequence[float] = ()


def plot_drawing(plot: Plot) -> Drawing:
    """Draw the plot; both axes reach as far as what is drawn, the y axis takes in zero."""
    every = [p for line in plot.lines for p in line.points] + list(plot.held)
    every += [plot.now] if plot.now else []
    xs, ys = np.array(every, dtype=float).T
    x_step, y_step = _step(float(np.ptp(xs))), _step(float(np.ptp([*ys, 0.0, *plot.guides])))
    y_low = min(0.0, math.floor(min([*ys, *plot.guides]) / y_step) * y_step)
    y_high = max(y_step, math.ceil(max([*ys, *plot.guides]) / y_step) * y_step)
    x_low, x_high = float(xs.min()), float(xs.max())
    right = _NAMED_RIGHT if any(line.name for line in plot.lines) else _RIGHT

    def at(x: float, y: float) -> tuple[float, float]:
        return (_LEFT + (x - x_low) / (x_high - x_low) * (_WIDTH - _LEFT - right),
                _HEIGHT - _BOTTOM - (y - y_low) / (y_high - y_low) * (_HEIGHT - _TOP - _BOTTOM))

    out = [f'<rect x="1" y="1" width="{_WIDTH - 2:.0f}" height="{_HEIGHT - 2:.0f}" rx="10" '
           'opacity=".55"/>', _words(12, 22, plot.y_words),
           _words(_WIDTH - _RIGHT, _HEIGHT - 10, plot.x_words, anchor="end")]
    for y in _ticks(y_low, y_high, y_step):
        a, b = at(x_low, y)
        strong = ' stroke-width="1.6"' if abs(y) < 1e-9 else ' stroke-width=".8" opacity=".35"'
        out.append(f'<path d="M{a:.1f} {b:.1f}H{_WIDTH - right:.1f}"{strong}/>')
        out.append(_words(_LEFT - 6, b + 5, _number(y, y_step), anchor="end"))
    for x in _ticks(x_low, x_high, x_step):
        a, b = at(x, y_low)
        out.append(f'<path d="M{a:.1f} {b:.1f}v5"/>')
        out.append(_words(a, b + 20, _number(x, x_step), anchor="middle"))
    for y in plot.guides:
        a, b = at(x_low, y)
        out.append(f'<path d="M{a:.1f} {b:.1f}H{_WIDTH - right:.1f}" stroke-dasharray="3 5" '
                   'stroke-width="1"/>')
    for line in plot.lines:
        path = "L".join(f"{a:.1f} {b:.1f}" for a, b in (at(x, y) for x, y in line.points))
        dash = f' stroke-dasharray="{line.dash}"' if line.dash else ""
        out.append(f'<path d="M{path}" stroke-width="2.4"{dash}/>')
        if line.name:
            a, b = at(*line.points[-1])
            out.append(_words(a + 6, b + 5, line.name))
    for x, y in plot.held:
        a, b = at(x, y)
        out.append(f'<path d="M{a - 5:.1f} {b - 5:.1f}l10 10m0 -10l-10 10" stroke-width="2"/>')
    if plot.now:
        a, b = at(*plot.now)
        out.append(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="6.5" fill="black"/>')
    svg = (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" '
           f'width="{_WIDTH:.0f}" height="{_HEIGHT:.0f}" fill="none" stroke="black" '
           'stroke-width="1.4" stroke-linecap="round" stroke-linejoin="round" '
           f'font-family="system-ui, sans-serif">{"".join(out)}</svg>')
    return Drawing(svg, plot.title, _WIDTH, _HEIGHT)


def _step(span: float) -> float:
    """A round step that makes four to eight of the span."""
    rough = max(span, 1e-6) / 5
    size = 10.0 ** math.floor(math.log10(rough))
    return next((f * size for f in (1.0, 2.0, 5.0) if f * size >= rough * 0.8), 10 * size)


def _ticks(low: float, high: float, step: float) -> list[float]:
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def _number(value: float, step: float) -> str:
    return number_text(value, 0 if step >= 1 else 1 if step >= 0.1 else 2)


def _words(x: float, y: float, text: str, anchor: str = "start") -> str:
    return (f'<text x="{x:.1f}" y="{y:.1f}" font-size="{_TEXT:g}" text-anchor="{anchor}" '
            f'fill="black" stroke="none">{escape(text)}</text>')

"""The curve of a lesson with the present point on it and the points that were held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.drawing.plot import Plot, rounded
from vision.drawing.svg import TEXT, Drawing, frame

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Line:
    """A line through points (x, y); ``dash`` as in SVG, ``name`` is written at its end."""

    points: Points
    name: str = ""
    dash: str = ""


def curve_drawing(lines: Sequence[Line], x_words: str, y_words: str, title: str, *,
                  now: tuple[float, float] | None = None, held: Points = (),
                  guides: Sequence[float] = ()) -> Drawing:
    """Draw ``lines``, the present point, points kept for comparison, and fine dashed heights.

    Both axes reach as far as what is drawn; the y axis takes in zero and ends at round numbers.
    """
    every = [p for line in lines for p in line.points] + list(held) + ([now] if now else [])
    xs, ys = [p[0] for p in every], [0.0, *(p[1] for p in every), *guides]
    right = 44.0 if any(line.name for line in lines) else 16.0
    plot = Plot((min(xs), max(xs)), rounded(min(ys), max(ys)), width=424.0, height=292.0,
                margins=(52.0, 34.0, right, 48.0), text=TEXT)
    plot.parts.append(frame(*plot.size))
    plot.words(12, 22, y_words)
    plot.y_axis(most=9)
    plot.x_axis(x_words)
    plot.rule(0.0, dash="", width=1.6)
    for y in guides:
        plot.rule(y, dash="3 5", width=1.0)
    for line in lines:
        plot.line(line.points, dash=line.dash, width=2.4)
        x, y = line.points[-1]
        plot.words(plot.x(x) + 6, plot.y(y) + 5, line.name)
    plot.marks(held, "cross", size=5)
    plot.marks([now] if now else [], size=6.5)
    return plot.drawing(title)

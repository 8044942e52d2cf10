"""The level drawn to scale: pole and panel on one side, the landmark on the other.

Pure: numbers in, drawing out.  Every centimetre is drawn equally long in both
directions; lines and words carry the meaning, the page sets the colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

_UNIT = 4.0  # drawing units in a cm
_LEFT_CM, _RIGHT_CM = 20.0, 34.0
_TEXT = 14.0


@dataclass(frozen=True)
class LevelDrawing:
    """An SVG in one colour, its size in drawing units, and its content in words."""

    svg: str
    title: str
    width: float
    height: float


def level_drawing(offset_cm: float, interval_cm: tuple[float, float], distance_cm: float
                  ) -> LevelDrawing:
    """Draw the zero reference ``offset_cm`` above (or below) the landmark.

    ``distance_cm`` is the horizontal distance of the two points.
    """
    distance = min(max(distance_cm, 30.0), 130.0)
    top = max(interval_cm[1], 0.0) + 22.0
    low = min(interval_cm[0], 0.0) - 22.0
    width = (_LEFT_CM + distance + _RIGHT_CM) * _UNIT
    height = (top - low) * _UNIT

    def x(cm: float) -> float:
        return (_LEFT_CM + cm) * _UNIT

    def y(cm: float) -> float:
        return (top - cm) * _UNIT

    pole, zero = x(distance), y(offset_cm)
    where = "too high" if offset_cm > 0 else "too low"
    low_y, high_y = y(interval_cm[0]), y(interval_cm[1])
    parts = [
        # Head and shoulder of our own, the landmark at its middle.
        f'<circle cx="{x(0):.1f}" cy="{y(0):.1f}" r="{8.5 * _UNIT:.1f}" fill="none"/>',
        f'<path d="M{x(-_LEFT_CM + 1):.1f} {y(-9):.1f} q{20:.1f} {-8:.1f} {44:.1f} {2:.1f}"'
        ' fill="none"/>',
        f'<circle cx="{x(0):.1f}" cy="{y(0):.1f}" r="4"/>',
        _line(x(-_LEFT_CM), y(0), pole + 40, y(0), "7 5"),
        _line(pole, 6, pole, height - 6, width=5),
        f'<rect x="{pole - 26:.1f}" y="{zero - 60:.1f}" width="52" height="120" fill="none"/>',
        _line(x(8), zero, pole + 40, zero, "12 4 2 4"),
        f'<circle cx="{pole:.1f}" cy="{zero:.1f}" r="4"/>',
        # The interval as a bar, the offset as a bracket.
        f'<rect x="{pole + 44:.1f}" y="{high_y:.1f}" width="12" height="{low_y - high_y:.1f}"'
        ' fill-opacity="0.25" stroke="none"/>',
        _line(pole + 50, y(0), pole + 50, zero, width=3),
        # The lower of the two words stands below its line, the other above: they never meet.
        _words(x(9), y(0) + (18 if offset_cm > 0 else -7), "landmark"),
        _words(x(9), zero + (-7 if offset_cm > 0 else 18), "zero reference"),
        _words(pole + 60, (zero + y(0)) / 2 + 5, f"{abs(offset_cm):.1f} cm"),
    ]
    low_words, high_words = (f"{v:+.1f}" for v in interval_cm)
    title = (f"The zero reference hangs {abs(offset_cm):.1f} cm {where}, 95 % interval {low_words}"
             f" to {high_words} cm, {distance_cm:.0f} cm beside the landmark.")
    body = "".join(parts)
    svg = (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
           f' stroke="#000" stroke-width="1.6"><title>{escape(title)}</title>{body}</svg>')
    return LevelDrawing(svg, title, width, height)


def _line(x0: float, y0: float, x1: float, y1: float, dash: str = "", width: float = 1.6) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}"'
            f' stroke-width="{width}"{dashed}/>')


def _words(x: float, y: float, text: str) -> str:
    return (f'<text x="{x:.1f}" y="{y:.1f}" font-family="sans-serif" font-size="{_TEXT}"'
            f' stroke="none">{escape(text)}</text>')

"""Small plots as inline SVG: no library, no script, no font from elsewhere."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

#: Series are told apart by colour and by shape or dash, so print in grey works too.
INK, SOFT, GRID = "#20303c", "#5b6b76", "#dfe5e9"
CORRECTED, NAIVE, PEOPLE, GOOD, BAD = "#1b6a8c", "#b8621b", "#6a5a9c", "#2c7a4b", "#b3261e"
SERIES = (CORRECTED, NAIVE, PEOPLE, GOOD, SOFT)


def ticks(low: float, high: float, about: int = 6) -> list[float]:
    """Round numbers (1, 2 or 5 times a power of ten apart) between low and high."""
    if not high > low:
        return [low]
    raw = (high - low) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    count = math.floor(high / step + 1e-9) - first
    return [round((first + k) * step, 12) + 0.0 for k in range(count + 1)]


class Plot:
    """A plot area with linear axes; everything is drawn in data coordinates.

    ``x`` and ``y`` are (low, high).  What lies outside is cut off at the frame.
    """

    def __init__(self, x: tuple[float, float], y: tuple[float, float], *, title: str,
                 x_label: str = "", y_label: str = "", width: int = 560, height: int = 320,
                 left: int = 62, x_ticks: Sequence[float] | None = None,
                 y_ticks: Sequence[float] | None = None) -> None:
        self._x = _widened(x)
        self._y = _widened(y)
        self._box = (left, 12, width - 14, height - 46)
        self._size = (width, height)
        self._title = title
        self._inside: list[str] = []
        self._outside: list[str] = []
        self._legend: list[tuple[str, str]] = []
        self._axes(x_label, y_label, ticks(*self._x) if x_ticks is None else x_ticks,
                   ticks(*self._y) if y_ticks is None else y_ticks)

    def px(self, x: float) -> float:
        """Horizontal position in the drawing."""
        x0, _, x1, _ = self._box
        return x0 + (x - self._x[0]) / (self._x[1] - self._x[0]) * (x1 - x0)

    def py(self, y: float) -> float:
        """Vertical position in the drawing."""
        _, y0, _, y1 = self._box
        return y1 - (y - self._y[0]) / (self._y[1] - self._y[0]) * (y1 - y0)

    def _axes(self, x_label: str, y_label: str, xs: Sequence[float], ys: Sequence[float]) -> None:
        x0, y0, x1, y1 = self._box
        for v in xs:
            p = self.px(v)
            self._outside.append(f'<path d="M{p:.1f} {y0}V{y1}" stroke="{GRID}"/>')
            self._outside.append(_text(p, y1 + 17, f"{v:g}", "middle"))
        for v in ys:
            p = self.py(v)
            self._outside.append(f'<path d="M{x0} {p:.1f}H{x1}" stroke="{GRID}"/>')
            self._outside.append(_text(x0 - 7, p + 4, f"{v:g}", "end"))
        self._outside.append(_text((x0 + x1) / 2, self._size[1] - 8, x_label, "middle", INK))
        self._outside.append(
            f'<g transform="translate(14 {(y0 + y1) / 2:.0f}) rotate(-90)">'
            f'{_text(0, 0, y_label, "middle", INK)}</g>')

    def points(self, xs: Iterable[float], ys: Iterable[float], color: str, *,
               shape: str = "dot", size: float = 2.4, opacity: float = 0.55) -> None:
        """Dots, or open squares ("square"), crosses ("cross")."""
        d = []
        for x, y in zip(xs, ys, strict=True):
            p, q = self.px(x), self.py(y)
            if shape == "dot":
                d.append(f"M{p - size:.1f} {q:.1f}a{size} {size} 0 1 0 {2 * size} 0"
                         f"a{size} {size} 0 1 0 {-2 * size} 0")
            elif shape == "square":
                d.append(f"M{p - size:.1f} {q - size:.1f}h{2 * size}v{2 * size}h{-2 * size}z")
            else:
                d.append(f"M{p - size:.1f} {q - size:.1f}l{2 * size} {2 * size}"
                         f"m0 {-2 * size}l{-2 * size} {2 * size}")
        look = (f'fill="{color}" fill-opacity="{opacity}"' if shape == "dot"
                else f'fill="none" stroke="{color}" stroke-opacity="{opacity}" stroke-width="1.2"')
        self._inside.append(f'<path d="{"".join(d)}" {look}/>')

    def line(self, xs: Iterable[float], ys: Iterable[float], color: str, *, dash: str = "",
             width: float = 1.8) -> None:
        """A polyline."""
        d = "L".join(f"{self.px(x):.1f} {self.py(y):.1f}" for x, y in zip(xs, ys, strict=True))
        if d:
            self._inside.append(f'<path d="M{d}" fill="none" stroke="{color}" '
                                f'stroke-width="{width}" stroke-dasharray="{dash}"/>')

    def band(self, low: float, high: float, color: str, *, across: str = "y",
             opacity: float = 0.12) -> None:
        """A shaded band between two values of y (or of x)."""
        x0, y0, x1, y1 = self._box
        if across == "y":
            top, bottom = self.py(high), self.py(low)
            box = f'x="{x0}" width="{x1 - x0}" y="{top:.1f}" height="{bottom - top:.1f}"'
        else:
            a, b = self.px(low), self.px(high)
            box = f'x="{a:.1f}" width="{b - a:.1f}" y="{y0}" height="{y1 - y0}"'
        self._inside.append(f'<rect {box} fill="{color}" fill-opacity="{opacity}"/>')

    def level(self, value: float, color: str, *, across: str = "y", dash: str = "5 4",
              text: str = "") -> None:
        """A line at one value of y (or of x), with a word at its end."""
        x0, y0, x1, y1 = self._box
        if across == "y":
            p = self.py(value)
            self._inside.append(f'<path d="M{x0} {p:.1f}H{x1}" stroke="{color}" '
                                f'stroke-width="1.3" stroke-dasharray="{dash}"/>')
            self._inside.append(_text(x1 - 4, p - 4, text, "end", color))
        else:
            p = self.px(value)
            self._inside.append(f'<path d="M{p:.1f} {y0}V{y1}" stroke="{color}" '
                                f'stroke-width="1.3" stroke-dasharray="{dash}"/>')
            self._inside.append(_text(p + 4, y0 + 12, text, "start", color))

    def words(self, x: float, y: float, text: str, anchor: str = "start",
              color: str = SOFT) -> None:
        """Words at a place of the plot."""
        self._outside.append(_text(self.px(x), self.py(y) + 4, text, anchor, color))

    def row_names(self, names: Sequence[str]) -> None:
        """Names left of the axis at y = 0, 1, 2, ... (for plots made with y_ticks=[])."""
        for k, name in enumerate(names):
            self._outside.append(_text(self._box[0] - 8, self.py(k) + 4, name, "end", INK))

    def legend(self, text: str, color: str, mark: str = "dot") -> None:
        """An entry of the legend: "dot", "square", "cross", "line" or "dash"."""
        self._legend.append((text, _key(color, mark)))

    def svg(self) -> str:
        """The drawing, ready to stand in a page."""
        width, height = self._size
        x0, y0, x1, y1 = self._box
        name = "cut-" + "".join(c for c in self._title.lower() if c.isalnum()) + (
            f"-{height}-{sum(map(len, self._inside))}")
        key = "".join(f'<span class="key"><svg width="26" height="12">{mark}</svg>'
                      f"{escape(text)}</span>" for text, mark in self._legend)
        return (
            f'<figure><figcaption>{escape(self._title)}</figcaption>'
            f'<svg viewBox="0 0 {width} {height}" style="max-width:min(100%,{1.2 * width:.0f}px)" '
            f'role="img" aria-label="{escape(self._title)}">'
            f'<clipPath id="{name}"><rect x="{x0}" y="{y0}" width="{x1 - x0}" '
            f'height="{y1 - y0}"/></clipPath>{"".join(self._outside)}'
            f'<g clip-path="url(#{name})">{"".join(self._inside)}</g>'
            f'<rect x="{x0}" y="{y0}" width="{x1 - x0}" height="{y1 - y0}" fill="none" '
            f'stroke="{SOFT}"/></svg><div class="legend">{key}</div></figure>')


def _key(color: str, mark: str) -> str:
    return {
        "dot": f'<circle cx="13" cy="6" r="4" fill="{color}"/>',
        "square": f'<rect x="9" y="2" width="8" height="8" fill="none" stroke="{color}"/>',
        "cross": f'<path d="M9 2l8 8m0-8l-8 8" stroke="{color}"/>',
        "line": f'<path d="M1 6H25" stroke="{color}" stroke-width="2"/>',
        "dash": f'<path d="M1 6H25" stroke="{color}" stroke-width="2" stroke-dasharray="5 4"/>',
    }[mark]


def _text(x: float, y: float, text: str, anchor: str, color: str = SOFT) -> str:
    if not text:
        return ""
    return (f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{color}" '
            f'stroke="#fff" stroke-width="3" paint-order="stroke" stroke-linejoin="round">'
            f"{escape(text)}</text>")


def _widened(span: tuple[float, float]) -> tuple[float, float]:
    low, high = span
    return (low, high) if high != low else (low - 0.5, high + 0.5)

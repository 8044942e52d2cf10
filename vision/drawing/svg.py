"""SVG by the element: escaped here, once, and in the colour of the text unless told otherwise.

Lengths are drawing units; a page scales the whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup, escape

TEXT = 14.0
#: Characters that no XML document may hold (XML 1.0, 5th ed., section 2.2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class Drawing:
    """An SVG, its size in drawing units, its content in words, and (text, sign) of a legend."""

    svg: str
    title: str
    width: float
    height: float
    legend: tuple[tuple[str, str], ...] = ()


def element(name: str, *inside: str, **attributes: object) -> Markup:
    """One element; ``stroke_width=2`` becomes ``stroke-width="2"``, None and "" are left out."""
    said = "".join(f' {key.rstrip("_").replace("_", "-")}="{_safe(_said(value))}"'
                   for key, value in attributes.items() if value not in (None, ""))
    whole = "".join(map(_safe, inside))
    return Markup(f"<{name}{said}>{whole}</{name}>" if whole else f"<{name}{said}/>")


def path(d: str, **look: object) -> Markup:
    """A path."""
    return element("path", d=d, **look)


def words(x: float, y: float, text: str, *, size: float = TEXT, anchor: str = "",
          weight: object = None, **look: object) -> Markup:
    """Text with its base line at (x, y); ``anchor`` is "", "middle" or "end"."""
    return element("text", text, **{"x": x, "y": y, "font_size": size, "text_anchor": anchor,
                                    "font_weight": weight, "fill": "currentColor",
                                    "stroke": "none", **look}) if text else Markup("")


def cut(x: float, y: float, width: float, height: float, *inside: str) -> Markup:
    """What lies outside the rectangle is cut off; coordinates stay those around it."""
    return element("svg", *inside, x=x, y=y, width=width, height=height,
                   viewBox=f"{x:g} {y:g} {width:g} {height:g}")


def along(points: Iterable[tuple[float, float]]) -> str:
    """Path data through points."""
    return "".join(f"{'ML'[k > 0]}{x:.1f} {y:.1f}" for k, (x, y) in enumerate(points))


def measure_bar(x: float, y: float, length: float, text: str) -> Markup:
    """A bar of known length with what it stands for."""
    return path(f"M{x:.1f} {y - 4:.1f}v8M{x:.1f} {y:.1f}h{length:.1f}m0 -4v8") + words(
        x + length + 7, y + 5, text)


def frame(width: float, height: float, dash: str = "") -> Markup:
    """The rounded border of a drawing."""
    return element("rect", x=1, y=1, width=width - 2, height=height - 2, rx=10, opacity=0.55,
                   stroke_dasharray=dash)


def drawing(parts: Iterable[str], title: str, width: float, height: float,
            legend: Iterable[tuple[str, str]] = (), **look: object) -> Drawing:
    """Put elements together; a screen reader says the title."""
    size = {"viewBox": f"0 0 {_said(width)} {_said(height)}", "width": width, "height": height}
    svg = element("svg", element("title", title), *parts, **{
        "xmlns": "http://www.w3.org/2000/svg", **size, "role": "img", "fill": "none",
        "stroke": "currentColor", "stroke_width": 1.6, "stroke_linecap": "round",
        "stroke_linejoin": "round", "font_family": "system-ui, sans-serif", **look})
    return Drawing(svg, title, width, height, tuple(legend))


def _said(value: object) -> str:
    return f"{round(value, 2) + 0.0:g}" if isinstance(value, float) else str(value)


def _safe(text: str) -> str:
    return text if isinstance(text, Markup) else escape(_NOT_XML.sub("\ufffd", text))

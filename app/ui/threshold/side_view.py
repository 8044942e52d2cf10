"""The bedside from the side, to scale: patient, landmark, pole, panel, threshold.

Pure: numbers in, drawing out.  All heights are in cm above the landmark, every
centimetre is drawn equally long in both directions.  Lines and words carry the
meaning; there is one colour only, which the page sets.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.ui.text import visible
from vision.drawing.svg import (
    TEXT,
    Drawing,
    along,
    cut,
    drawing,
    element,
    frame,
    measure_bar,
    path,
    words,
)
from vision.hydrostatics.units import number_text

_WIDTH_CM = 104.0
_LEFT_CM = -46.0
_POLE_X = 26.0
_UNIT = 4.0  # drawing units in a cm
_TALLEST_CM = 150.0
_CAPTION = 54.0


@dataclass(frozen=True)
class SideView:
    """What is drawn.  Heights in cm; ``setting_cm`` is counted from the zero reference.

    ``threshold_text`` is the threshold in words with both units.  The torso's
    angle and lengths only shape the patient's outline.
    """

    offset_cm: float
    setting_cm: float
    threshold_text: str
    title: str
    landmark: str = "landmark"
    what_if: bool = False
    head_angle_deg: float = 30.0
    along_cm: float = 60.0
    above_cm: float = 10.0


def side_view(view: SideView) -> Drawing:
    """Draw the bedside."""
    chamber = view.offset_cm + view.setting_cm
    top = max(18.0, chamber + 8, view.offset_cm + 16) + (5 if view.what_if else 0)
    bottom = min(-22.0, chamber - 10, view.offset_cm - 9)
    f = _Frame(top, bottom)
    width, height = _WIDTH_CM * _UNIT, f.height + _CAPTION
    parts = [
        frame(width, height, "2 6" if view.what_if else ""),
        cut(0, 0, width, f.height,
            *_patient(f, view),
            path(f"M{f.x(_POLE_X):.1f} 30V{f.height - 8:.1f}", stroke_width=4, opacity=0.45),
            _panel(f, view), _tube(f, chamber),
            _level_line(f, 0.0, "7 5"), _level_line(f, view.offset_cm, "12 4 2 4"),
            _chamber(f, chamber), _gap(f, 14.0, 0.0, view.offset_cm), _gap(f, 18.0, 0.0, chamber),
            words(8, f.y(0.0) - 6, visible(view.landmark)), *_right_words(f, view, chamber),
            words(12, 24, "What if (not on record)" if view.what_if else "", weight=650)),
        path(f"M2 {f.height:.0f}H{width - 2:.0f}", opacity=0.55),
        words(12, f.height + 22, view.threshold_text, weight=650),
        words(12, f.height + 42, f"offset {_signed(view.offset_cm)} cm"),
        measure_bar(width - 60 - 10 * f.unit, f.height + 37, 10 * f.unit, "10 cm"),
    ]
    return drawing(parts, view.title, width, height)


@dataclass(frozen=True)
class _Frame:
    """Where a point of the scene lies; only a very tall scene is drawn smaller."""

    top_cm: float
    bottom_cm: float

    @property
    def unit(self) -> float:
        return _UNIT * min(1.0, _TALLEST_CM / (self.top_cm - self.bottom_cm))

    @property
    def height(self) -> float:
        return (self.top_cm - self.bottom_cm) * self.unit

    def x(self, cm: float) -> float:
        # A shrunken scene stays where the pole and the landmark are.
        return (0 - _LEFT_CM) * _UNIT + cm * self.unit

    def y(self, cm: float) -> float:
        return (self.top_cm - cm) * self.unit

    def path(self, points: Sequence[tuple[float, float]], **look: object) -> Markup:
        return path(along((self.x(a), self.y(b)) for a, b in points), **look)


def _patient(f: _Frame, view: SideView) -> list[Markup]:
    """Mattress, back and head: a plain outline turned about the hip's hinge."""
    angle = math.radians(view.head_angle_deg)
    up = (math.cos(angle), math.sin(angle))
    off = (-math.sin(angle), math.cos(angle))

    def at(a: float, d: float) -> tuple[float, float]:
        """A point ``a`` cm up the mattress from the landmark and ``d`` cm off it."""
        return (a * up[0] + (d - view.above_cm) * off[0],
                a * up[1] + (d - view.above_cm) * off[1])

    hinge = at(-view.along_cm, 0)
    feet = (hinge[0] - 60, hinge[1])
    chest = [at(-view.along_cm, 17), at(-40, 21), at(-24, 20), at(-14, 13), at(-10, 11)]
    head = at(0, view.above_cm)
    x, y = f.x(head[0]), f.y(head[1])
    return [
        f.path([feet, hinge, at(14, 0)], stroke_width=5, opacity=0.45),
        f.path([(feet[0], feet[1] + 13), *chest]),
        f.path([at(-view.along_cm, 1.5), at(-11, 1.5)]),
        element("ellipse", cx=x, cy=y, rx=11.5 * f.unit, ry=9 * f.unit,
                transform=f"rotate({-view.head_angle_deg:.1f} {x:.1f} {y:.1f})"),
        element("circle", cx=f.x(0), cy=f.y(0), r=4.5, fill="currentColor"),
    ]


def _panel(f: _Frame, view: SideView) -> Markup:
    """The pressure scale: a strip of ticks, every centimetre short, every fifth long."""
    low = min(-5, math.floor(view.setting_cm / 5) * 5 - 5)
    high = max(10, math.ceil(view.setting_cm / 5) * 5 + 5)
    step = 1 if f.unit > 2.5 else 5
    x = f.x(_POLE_X)
    ticks = []
    for cm in range(low, high + 1, step):
        long = cm % 5 == 0
        y = f.y(view.offset_cm + cm)
        ticks.append(f"M{x:.1f} {y:.1f}h{10 if long else 5}")
    y_high, y_low = f.y(view.offset_cm + high), f.y(view.offset_cm + low)
    return path("".join(ticks), stroke_width=1.2) + path(
        f"M{x:.1f} {y_high:.1f}V{y_low:.1f}", stroke_width=2.4)


def _chamber(f: _Frame, height_cm: float) -> Markup:
    """The drip chamber with its inlet at the height that counts."""
    x, y = f.x(_POLE_X) - 22, f.y(height_cm)
    return path(f"M{x - 6:.1f} {y:.1f}h12v26q-6 8 -12 0z") + path(
        f"M{x:.1f} {y:.1f}H{f.x(_POLE_X):.1f}", stroke_width=2.4)


def _tube(f: _Frame, height_cm: float) -> Markup:
    x1, y1, x2, y2 = f.x(4), f.y(4), f.x(_POLE_X) - 22, f.y(height_cm)
    low = f.y(min(0.0, height_cm) - 9)
    return path(f"M{x1:.1f} {y1:.1f}C{x1 + 40:.1f} {low:.1f} {x2 - 46:.1f} {low:.1f} "
                f"{x2 - 26:.1f} {(low + y2) / 2:.1f}S{x2:.1f} {y2 - 20:.1f} {x2:.1f} {y2:.1f}",
                opacity=0.8)


def _level_line(f: _Frame, height_cm: float, dash: str) -> Markup:
    y = f.y(height_cm)
    return path(f"M6 {y:.1f}H{f.x(_POLE_X) + 13:.1f}", stroke_dasharray=dash, stroke_width=1.3,
                opacity=0.8)


def _gap(f: _Frame, x_cm: float, low_cm: float, high_cm: float) -> Markup:
    """A measuring line between two heights."""
    x, a, b = f.x(x_cm), f.y(low_cm), f.y(high_cm)
    return path(f"M{x:.1f} {a:.1f}V{b:.1f}M{x - 5:.1f} {a:.1f}h10M{x - 5:.1f} {b:.1f}h10")


def _right_words(f: _Frame, view: SideView, chamber_cm: float) -> list[Markup]:
    """Words beside the panel, kept apart where heights lie close together."""
    wanted = sorted([(f.y(chamber_cm), "chamber"), (f.y(view.offset_cm), "zero reference")])
    out, last = [], -math.inf
    for y, text in wanted:
        last = max(y + 5, last + TEXT + 4)
        out.append(words(f.x(_POLE_X) + 18, last, text))
    return out


def _signed(value: float) -> str:
    text = number_text(value)
    return f"+{text}" if value > 0 and not text.startswith("0.0") else text

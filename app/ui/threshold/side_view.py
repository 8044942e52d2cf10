"""The bedside from the side, to scale: patient, landmark, pole, panel, threshold.

Pure: numbers in, drawing out.  All heights are in cm above the landmark, every
centimetre is drawn equally long in both directions.  Lines and words carry the
meaning; there is one colour only, which the page sets.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from vision.hydrostatics.units import number_text

_WIDTH_CM = 104.0
_LEFT_CM = -46.0
_POLE_X = 26.0
_UNIT = 4.0  # drawing units in a cm
_TALLEST_CM = 150.0
_CAPTION = 54.0
_TEXT = 14.0  # drawing units; about 12 px on a 358 px wide telephone


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


@dataclass(frozen=True)
class Drawing:
    """An SVG in one colour, its size in drawing units, and its content in words."""

    svg: str
    title: str
    width: float
    height: float


def side_view(view: SideView) -> Drawing:
    """Draw the bedside."""
    chamber = view.offset_cm + view.setting_cm
    top = max(18.0, chamber + 8, view.offset_cm + 16) + (5 if view.what_if else 0)
    bottom = min(-22.0, chamber - 10, view.offset_cm - 9)
    f = _Frame(top, bottom)
    width, height = _WIDTH_CM * _UNIT, f.height + _CAPTION
    dash = ' stroke-dasharray="2 6"' if view.what_if else ""
    mark = _words(12, 24, "What if (not on record)", 650) if view.what_if else ""
    scene = [
        _patient(f, view), _pole(f), _panel(f, view), _tube(f, chamber),
        _level_line(f, 0.0, "7 5"), _level_line(f, view.offset_cm, "12 4 2 4"),
        _chamber(f, chamber), _gap(f, 14.0, 0.0, view.offset_cm), _gap(f, 18.0, 0.0, chamber),
        _words(8, f.y(0.0) - 6, view.landmark), _right_words(f, view, chamber), mark,
    ]
    caption = [
        f'<path d="M2 {f.height:.0f}H{width - 2:.0f}" opacity=".55"/>',
        _words(12, f.height + 22, view.threshold_text, 650),
        _words(12, f.height + 42, f"offset {_signed(view.offset_cm)} cm"),
        _bar(width - 60 - 10 * f.unit, f.height + 37, f.unit),
    ]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" fill="none" stroke="black" '
        'stroke-width="1.6" stroke-linecap="round" stroke-linejoin="round" '
        'font-family="system-ui, sans-serif">'
        f'<rect x="1" y="1" width="{width - 2:.0f}" height="{height - 2:.0f}" rx="10" '
        # The inner element cuts off what lies outside the scene.
        f'opacity=".55"{dash}/><svg width="{width:.0f}" height="{f.height:.0f}">'
        f'{"".join(scene)}</svg>'
        f'{"".join(caption)}</svg>'
    )
    return Drawing(svg, view.title, width, height)


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

    def path(self, points: Sequence[tuple[float, float]]) -> str:
        return " ".join(f"{'ML'[i > 0]}{self.x(a):.1f} {self.y(b):.1f}"
                        for i, (a, b) in enumerate(points))


def _patient(f: _Frame, view: SideView) -> str:
    """Mattress, back and head: a plain outline turned about the hip's hinge."""
    angle = math.radians(view.head_angle_deg)
    along = (math.cos(angle), math.sin(angle))
    off = (-math.sin(angle), math.cos(angle))

    def at(a: float, d: float) -> tuple[float, float]:
        """A point ``a`` cm up the mattress from the landmark and ``d`` cm off it."""
        return (a * along[0] + (d - view.above_cm) * off[0],
                a * along[1] + (d - view.above_cm) * off[1])

    hinge = at(-view.along_cm, 0)
    feet = (hinge[0] - 60, hinge[1])
    mattress = f.path([feet, hinge, at(14, 0)])
    chest = [at(-view.along_cm, 17), at(-40, 21), at(-24, 20), at(-14, 13), at(-10, 11)]
    body = f.path([(feet[0], feet[1] + 13), *chest])
    back = f.path([at(-view.along_cm, 1.5), at(-11, 1.5)])
    head = at(0, view.above_cm)
    turn = -view.head_angle_deg
    return (
        f'<path d="{mattress}" stroke-width="5" opacity=".45"/>'
        f'<path d="{body}"/><path d="{back}"/>'
        f'<ellipse cx="{f.x(head[0]):.1f}" cy="{f.y(head[1]):.1f}" rx="{11.5 * f.unit:.1f}" '
        f'ry="{9 * f.unit:.1f}" transform="rotate({turn:.1f} {f.x(head[0]):.1f} '
        f'{f.y(head[1]):.1f})"/>'
        f'<circle cx="{f.x(0):.1f}" cy="{f.y(0):.1f}" r="4.5" fill="black"/>'
    )


def _pole(f: _Frame) -> str:
    x = f.x(_POLE_X)
    return f'<path d="M{x:.1f} 30 V{f.height - 8:.1f}" stroke-width="4" opacity=".45"/>'


def _panel(f: _Frame, view: SideView) -> str:
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
    return (f'<path d="{"".join(ticks)}" stroke-width="1.2"/>'
            f'<path d="M{x:.1f} {y_high:.1f}V{y_low:.1f}" stroke-width="2.4"/>')


def _chamber(f: _Frame, height_cm: float) -> str:
    """The drip chamber with its inlet at the height that counts."""
    x, y = f.x(_POLE_X) - 22, f.y(height_cm)
    return (f'<path d="M{x - 6:.1f} {y:.1f}h12v26q-6 8 -12 0z"/>'
            f'<path d="M{x:.1f} {y:.1f}H{f.x(_POLE_X):.1f}" stroke-width="2.4"/>')


def _tube(f: _Frame, height_cm: float) -> str:
    x1, y1, x2, y2 = f.x(4), f.y(4), f.x(_POLE_X) - 22, f.y(height_cm)
    low = f.y(min(0.0, height_cm) - 9)
    return (f'<path d="M{x1:.1f} {y1:.1f}C{x1 + 40:.1f} {low:.1f} {x2 - 46:.1f} {low:.1f} '
            f'{x2 - 26:.1f} {(low + y2) / 2:.1f}S{x2:.1f} {y2 - 20:.1f} {x2:.1f} {y2:.1f}" '
            'opacity=".8"/>')


def _level_line(f: _Frame, height_cm: float, dash: str) -> str:
    y = f.y(height_cm)
    return (f'<path d="M6 {y:.1f}H{f.x(_POLE_X) + 13:.1f}" stroke-dasharray="{dash}" '
            'stroke-width="1.3" opacity=".8"/>')


def _gap(f: _Frame, x_cm: float, low_cm: float, high_cm: float) -> str:
    """A measuring line between two heights."""
    x, a, b = f.x(x_cm), f.y(low_cm), f.y(high_cm)
    return f'<path d="M{x:.1f} {a:.1f}V{b:.1f}M{x - 5:.1f} {a:.1f}h10M{x - 5:.1f} {b:.1f}h10"/>'


def _right_words(f: _Frame, view: SideView, chamber_cm: float) -> str:
    """Words beside the panel, kept apart where heights lie close together."""
    wanted = sorted([(f.y(chamber_cm), "chamber"), (f.y(view.offset_cm), "zero reference")])
    out, last = [], -math.inf
    for y, text in wanted:
        last = max(y + 5, last + _TEXT + 4)
        out.append(_words(f.x(_POLE_X) + 18, last, text))
    return "".join(out)


def _words(x: float, y: float, text: str, weight: int = 400) -> str:
    return (f'<text x="{x:.1f}" y="{y:.1f}" font-size="{_TEXT:g}" font-weight="{weight}" '
            f'fill="black" stroke="none">{escape(text)}</text>')


def _bar(x: float, y: float, unit: float) -> str:
    """A measure of ten centimetres."""
    return (f'<path d="M{x:.1f} {y - 4:.1f}v8M{x:.1f} {y:.1f}h{10 * unit:.1f}m0 -4v8"/>'
            + _words(x + 10 * unit + 7, y + 5, "10 cm"))


def _signed(value: float) -> str:
    text = number_text(value)
    return f"+{text}" if value > 0 and not text.startswith("0.0") else text

"""The bedside from the side, to scale: a patient in a bed, the landmark, the system on its pole.

Pure: numbers in, drawing out.  The room is fixed: heights are cm over the hinge of the bed as it
stood before anything moved, so that a raised head raises the landmark and leaves the system where
it hangs.  Every centimetre is drawn equally long in both directions.  Lines and words carry the
meaning; there is one colour only, which the page sets.  The patient is our own outline of a
grown-up who lies on the back; only landmark and heights are measures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from vision.drawing.svg import Drawing, along, drawing, element, frame, measure_bar, path, words

Point = tuple[float, float]

_UNIT = 2.6  # drawing units in a cm
_LEFT_CM = -44.0
_TALLEST_CM = 190.0
_TEXT, _STEP = 16.0, 19.0
_HEAD_BAND, _CAPTION = 34.0, 56.0
_WORDS_WIDE = 142.0
#: Half the length over which the mattress bends at its hinge, and its thickness, cm.
_BEND_CM, MATTRESS_CM = 24.0, 11.0
#: From the landmark to the mattress's upper end as the patient lies before sliding down.
_BEYOND_CM = 23.0
#: The outline is drawn for landmarks this far from the hinge and off the mattress.
_ALONG_CM, _ABOVE_CM = (36.0, 95.0), (0.0, 25.0)

#: The head about the ear, facing up, crown to the right: (toward the crown, off the mattress).
_FACE = ((-12.0, 3.5), (-10.5, 6.5), (-10.4, 9.0), (-8.6, 9.8), (-7.0, 9.0), (-6.4, 10.2),
         (-5.2, 9.6), (-4.6, 10.6), (-3.2, 10.2), (-2.4, 12.6), (-0.4, 10.6), (2.0, 9.6),
         (5.0, 9.4), (8.6, 7.4), (10.8, 3.4), (11.0, -0.8), (9.2, -5.0), (5.4, -7.8),
         (0.8, -8.4), (-3.2, -6.8), (-6.4, -4.2), (-8.6, -3.4), (-12.0, -4.0))
_EAR = ((-2.2, 2.4), (0.6, 4.2), (3.2, 3.0), (3.6, 0.0), (1.8, -1.8), (-0.6, -2.4), (-3.0, -3.4),
        (-4.0, -1.6), (-3.0, 0.2))
#: The front of the body from the neck down: (from the ear along the mattress, off it), for an ear
#: 10 cm off the mattress and 60 cm from the hinge.
_FRONT = ((-12.0, 13.5), (-14.5, 13.0), (-18.0, 16.0), (-24.0, 20.5), (-32.0, 21.5),
          (-40.0, 19.5), (-50.0, 18.0), (-60.0, 17.0), (-72.0, 16.0), (-86.0, 15.0),
          (-100.0, 14.0), (-112.0, 12.5), (-124.0, 11.0), (-140.0, 9.5))
_BACK = ((-12.0, 6.0), (-15.0, 3.6), (-20.0, 1.6), (-30.0, 1.2), (-60.0, 1.2), (-140.0, 1.2))
#: The near arm, from the shoulder to the hand on the hip.
_ARM = ((-18.5, 9.5), (-26.0, 6.6), (-38.0, 5.6), (-47.0, 7.6), (-56.0, 10.6), (-62.0, 11.0))
_SHOULDER = ((-15.2, 8.0), (-16.6, 12.4), (-21.0, 13.2), (-24.6, 10.6))


@dataclass(frozen=True)
class Bedside:
    """What is drawn; heights in cm.

    ``offset_cm`` is the zero reference's height over the landmark as it is now, ``setting_cm``
    the drip chamber's over the zero reference (None: not drawn), ``interval_cm`` the 95 %
    interval of the offset.  ``head`` says what the state is, ``captions`` (two lines at most) what
    follows from it, ``title`` everything in words.  The landmark lay ``along_cm`` from the
    hinge up the mattress and ``above_cm`` off it before the patient slid down by ``slid_cm``;
    ``bed_cm`` is how far the whole bed was raised.  ``reach_cm`` are heights that are always in
    the drawing, so that nothing but what moves seems to move.
    """

    offset_cm: float
    head: str
    title: str
    captions: tuple[str, ...] = ()
    setting_cm: float | None = None
    interval_cm: tuple[float, float] | None = None
    landmark: str = "landmark"
    what_if: bool = False
    head_angle_deg: float = 30.0
    along_cm: float = 60.0
    above_cm: float = 10.0
    slid_cm: float = 0.0
    bed_cm: float = 0.0
    reach_cm: tuple[float, float] | None = None

    @property
    def size(self) -> float:
        """How much larger than a landmark 60 cm from the hinge asks for."""
        return self._along / 60.0

    @property
    def _along(self) -> float:
        return min(max(self.along_cm, _ALONG_CM[0]), _ALONG_CM[1])

    @property
    def _above(self) -> float:
        return min(max(self.above_cm, _ABOVE_CM[0]), _ABOVE_CM[1])

    @property
    def mattress_end_cm(self) -> float:
        """From the hinge to the upper end of the mattress."""
        return self._along + _BEYOND_CM * self.size

    def on_mattress(self, up_cm: float, off_cm: float) -> Point:
        """The point in the room ``up_cm`` from the hinge along the mattress, ``off_cm`` off it."""
        (x, y), angle = self._surface(up_cm)
        return (x - off_cm * math.sin(angle), y + off_cm * math.cos(angle))

    def _surface(self, up_cm: float) -> tuple[Point, float]:
        """A point of the mattress's surface and its slope: flat, a parabola's bend, inclined."""
        a, r = math.radians(self.head_angle_deg), _BEND_CM
        if up_cm >= r:
            return (up_cm * math.cos(a), up_cm * math.sin(a) + self.bed_cm), a
        if up_cm <= -r:
            return (up_cm, self.bed_cm), 0.0
        t = (up_cm + r) / (2 * r)
        flat, steep = 2 * (1 - t), 2 * t
        x = -r * (1 - t) ** 2 + r * math.cos(a) * t**2
        slope = math.atan2(steep * math.sin(a), flat + steep * math.cos(a))
        return (x, r * math.sin(a) * t**2 + self.bed_cm), slope

    def on_patient(self, up_cm: float, off_cm: float) -> Point:
        """A point that moves with the patient: ``up_cm`` from the ear along the mattress."""
        return self.on_mattress(self._along - self.slid_cm + up_cm * self.size, off_cm * self.size)

    @property
    def landmark_at(self) -> Point:
        """Where the landmark is: L cos a - d sin a, L sin a + d cos a from the hinge."""
        return self.on_mattress(self._along - self.slid_cm, self._above)

    @property
    def mattress(self) -> list[Point]:
        """The mattress's outline, from its lower end as far as it is drawn and back."""
        ups = [_LEFT_CM + k * (self.mattress_end_cm - _LEFT_CM) / 40 for k in range(41)]
        return [*(self.on_mattress(u, 0.0) for u in ups),
                *(self.on_mattress(u, -MATTRESS_CM) for u in reversed(ups))]

    @property
    def pole_cm(self) -> float:
        """Where the pole stands: clear of the flat bed."""
        return self.mattress_end_cm + 17.0

    @property
    def zero_cm(self) -> float:
        """Height of the zero reference in the room."""
        return self.landmark_at[1] + self.offset_cm

    @property
    def tubing(self) -> list[Point]:
        """The line from the head over the mattress's end, in a loop, to the zero reference."""
        end, x = self.mattress_end_cm, self.pole_cm - 4.0
        start = self._ear(8.4, 5.6)
        over = [self._ear(14.0, 7.0), self.on_mattress(end + 1.0, 6.0),
                self.on_mattress(end + 5.0, 0.0), self.on_mattress(end + 5.0, -MATTRESS_CM)]
        over = [(min(px, x - 3.0), py) for px, py in over]
        low = min(over[-1][1], self.zero_cm) - 9.0
        loop = [((over[-1][0] + 2 * x) / 3, low), (x, min(low + 6.0, self.zero_cm - 2.0))]
        return _smooth([start, *over, *loop, (x, self.zero_cm)])

    def _ear(self, up_cm: float, off_cm: float) -> Point:
        """A point of the head about the landmark."""
        return self.on_mattress(self._along - self.slid_cm + up_cm * self.size,
                                self._above + off_cm * self.size)


def hanging_words(offset_cm: float) -> str:
    """How the system hangs, for a drawing's head."""
    if abs(offset_cm) < 0.05:
        return "hangs level with the landmark"
    return f"hangs {abs(offset_cm):.1f} cm too {'high' if offset_cm > 0 else 'low'}"


def bedside_drawing(view: Bedside) -> Drawing:
    """Draw the bedside."""
    f = _Frame(view)
    zero, chamber = view.zero_cm, None
    if view.setting_cm is not None:
        chamber = zero + view.setting_cm
    pole = f.x(view.pole_cm)
    width = pole + _WORDS_WIDE + (12 if view.interval_cm else 0)
    height = f.tall + _HEAD_BAND + _CAPTION
    parts = [
        frame(width, height, "2 6" if view.what_if else ""),
        words(12, 23, view.head, weight=650, size=_TEXT),
        *_bed(f, view), *_patient(f, view),
        path(f"M{pole:.1f} {_HEAD_BAND + 6:.1f}V{f.floor:.1f}", stroke_width=4, opacity=0.45),
        f.path(view.tubing, opacity=0.8),
        _panel(f, view), *([] if chamber is None else [_chamber(f, view, chamber)]),
        *_levels(f, view, chamber), *_interval(f, view),
        path(f"M2 {f.floor:.1f}H{width - 2:.1f}", opacity=0.55),
        *(words(12, f.floor + 22 + 20 * k, text, weight=650 if k == 0 else None, size=_TEXT)
          for k, text in enumerate(view.captions[:2])),
        measure_bar(width - 62 - 10 * f.unit, f.floor + 37, 10 * f.unit, "10 cm"),
    ]
    return drawing(parts, view.title, width, height)


class _Frame:
    """Where a point of the room lies; only a very tall scene is drawn smaller."""

    def __init__(self, view: Bedside) -> None:
        zero, (_, mark) = view.zero_cm, view.landmark_at
        highs = [zero + 14.0, mark + 16.0, max(y for _, y in view.tubing) + 3.0]
        lows = [view.bed_cm - MATTRESS_CM - 9.0, zero - 11.0, min(y for _, y in view.tubing) - 2.0]
        if view.setting_cm is not None:
            chamber = zero + view.setting_cm
            highs.append(chamber + 8.0)
            lows.append(chamber - 14.0)
        if view.interval_cm is not None:
            highs.append(mark + view.interval_cm[1] + 4.0)
            lows.append(mark + view.interval_cm[0] - 4.0)
        if view.reach_cm is not None:
            lows.append(view.reach_cm[0])
            highs.append(view.reach_cm[1])
        self.top, bottom = max(highs), min(lows)
        self.unit = _UNIT * min(1.0, _TALLEST_CM / (self.top - bottom))
        self.tall = (self.top - bottom) * self.unit
        self.floor = self.tall + _HEAD_BAND

    def x(self, cm: float) -> float:
        return (cm - _LEFT_CM) * self.unit + 2.0

    def y(self, cm: float) -> float:
        return (self.top - cm) * self.unit + _HEAD_BAND

    def path(self, points: Sequence[Point], **look: object) -> Markup:
        return path(along((self.x(a), self.y(b)) for a, b in points), **look)


def _smooth(points: Sequence[Point], steps: int = 8) -> list[Point]:
    """A Catmull-Rom curve through points."""
    ends = [points[0], *points, points[-1]]
    out = [points[0]]
    for p0, p1, p2, p3 in zip(ends, ends[1:], ends[2:], ends[3:], strict=False):
        for k in range(1, steps + 1):
            t = k / steps
            weights = (-t + 2 * t**2 - t**3, 2 - 5 * t**2 + 3 * t**3,
                       t + 4 * t**2 - 3 * t**3, -t**2 + t**3)
            out.append((sum(w * p[0] for w, p in zip(weights, (p0, p1, p2, p3), strict=True)) / 2,
                        sum(w * p[1] for w, p in zip(weights, (p0, p1, p2, p3), strict=True)) / 2))
    return out


def _bed(f: _Frame, view: Bedside) -> list[Markup]:
    """Mattress, the frame under it, the board at the head, the pillow."""
    end = view.mattress_end_cm
    under = [view.on_mattress(u, -MATTRESS_CM - 2.5) for u in _steps(_LEFT_CM, end)]
    pillow = [view.on_patient(u, off) for u, off in (
        (20.0, 0.6), (20.5, 5.0), (16.5, 8.2), (9.0, 5.2), (2.0, 2.2), (-8.0, 2.6), (-13.0, 0.4))]
    pivot = view.on_mattress(0.0, -MATTRESS_CM - 2.5)
    return [
        f.path([*view.mattress, view.mattress[0]], fill="currentColor", fill_opacity=0.1,
               stroke_width=1.2),
        f.path(under, stroke_width=4.5, opacity=0.5),
        element("circle", cx=f.x(pivot[0]), cy=f.y(pivot[1]), r=4, stroke_width=1.4),
        f.path([view.on_mattress(end + 1.5, -MATTRESS_CM - 2.5), view.on_mattress(end + 1.5, 1.0)],
               stroke_width=4, opacity=0.5),
        path(along((f.x(a), f.y(b)) for a, b in _smooth(pillow)) + "z", fill="currentColor",
             fill_opacity=0.22, stroke="none"),
    ]


def _patient(f: _Frame, view: Bedside) -> list[Markup]:
    """Head with face and ear, shoulder, chest, arm, and a body that follows the mattress."""
    lift = view._above / view.size - 10.0

    def body(points: Sequence[Point]) -> list[Point]:
        # A head that lies higher or lower takes the neck with it; the trunk lies on the bed.
        return [p for p in (view.on_patient(u, off + lift * max(0.0, 1 + (u + 12) / 12))
                            for u, off in _dense(points)) if p[0] >= _LEFT_CM]

    def head(points: Sequence[Point]) -> list[Point]:
        return [view._ear(u, off) for u, off in _smooth(points)]

    blanket = [p for p in (view.on_patient(u, off) for u, off in _dense(
        ((-56.0, 18.6), (-58.0, 12.0), (-57.0, 6.0), (-60.0, 1.4)))) if p[0] >= _LEFT_CM]
    x, y = view.landmark_at
    return [
        f.path(body(_FRONT), stroke_width=2), f.path(body(_BACK), stroke_width=1.2, opacity=0.7),
        f.path(body(_ARM), stroke_width=1.4, opacity=0.8),
        f.path(body(_SHOULDER), stroke_width=1.4, opacity=0.8),
        f.path(blanket, stroke_width=1.4, opacity=0.7),
        f.path(head(_FACE), stroke_width=2), f.path(head(_EAR), stroke_width=1.3),
        f.path([view._ear(0.2, 8.0), view._ear(2.2, 7.6)], stroke_width=1.6),
        element("circle", cx=f.x(x), cy=f.y(y), r=4, fill="currentColor", stroke="none"),
    ]


def _dense(points: Sequence[Point]) -> list[Point]:
    """A smooth curve through points of the outline, close enough to follow a bent mattress."""
    return _smooth(points, 6)


def _steps(low: float, high: float) -> list[float]:
    return [low + k * (high - low) / 40 for k in range(41)]


def _panel(f: _Frame, view: Bedside) -> Markup:
    """The pressure scale: a strip of ticks, every centimetre short, every fifth long."""
    setting = view.setting_cm or 0.0
    low = min(-5, math.floor(setting / 5) * 5 - 5)
    high = max(10, math.ceil(setting / 5) * 5 + 5)
    x, step = f.x(view.pole_cm), 1 if f.unit > 1.9 else 5
    ticks = [f"M{x:.1f} {f.y(view.zero_cm + cm):.1f}h{9 if cm % 5 == 0 else 4}"
             for cm in range(low, high + 1, step)]
    ends = f.y(view.zero_cm + high), f.y(view.zero_cm + low)
    return path("".join(ticks), stroke_width=1.0) + path(
        f"M{x:.1f} {ends[0]:.1f}V{ends[1]:.1f}", stroke_width=2.4)


def _chamber(f: _Frame, view: Bedside, chamber_cm: float) -> Markup:
    """The drip chamber with its inlet at the height that counts, and the line up to it."""
    pole, x, y = f.x(view.pole_cm), f.x(view.pole_cm - 10.0), f.y(chamber_cm)
    zero = f.y(view.zero_cm)
    line = f.x(view.pole_cm - 4.0)
    return (path(f"M{x - 6:.1f} {y:.1f}h12v24q-6 8 -12 0z")
            + path(f"M{x:.1f} {y:.1f}H{pole:.1f}", stroke_width=2.4)
            + path(f"M{line:.1f} {zero:.1f}V{y - 7:.1f}H{x:.1f}V{y:.1f}", opacity=0.8))


def _levels(f: _Frame, view: Bedside, chamber_cm: float | None) -> list[Markup]:
    """Level lines from the landmark and the zero reference, what hangs between, and the words."""
    pole, (mark_x, mark) = f.x(view.pole_cm), view.landmark_at
    zero = view.zero_cm
    beside = f.x(view.pole_cm - 14.0)
    out = [
        path(f"M{f.x(mark_x) + 10:.1f} {f.y(mark):.1f}H{pole + 13:.1f}", stroke_dasharray="7 5",
             stroke_width=1.3, opacity=0.8),
        path(f"M{beside - 12:.1f} {f.y(zero):.1f}H{pole + 13:.1f}", stroke_dasharray="12 4 2 4",
             stroke_width=1.3, opacity=0.8),
        element("circle", cx=f.x(view.pole_cm - 4.0), cy=f.y(zero), r=4, fill="currentColor",
                stroke="none")]
    if abs(view.offset_cm) >= 0.05:
        out.append(path(f"M{beside:.1f} {f.y(mark):.1f}V{f.y(zero):.1f}M{beside - 5:.1f} "
                        f"{f.y(mark):.1f}h10M{beside - 5:.1f} {f.y(zero):.1f}h10", stroke_width=2))
    named = [(f.y(mark), view.landmark), (f.y(zero), "zero reference")]
    if chamber_cm is not None:
        named.append((f.y(chamber_cm), "chamber"))
    x = pole + (29 if view.interval_cm else 17)
    out += [words(x, y, text, size=_TEXT) for y, text in _apart(named, f.floor - 6)]
    return out


def _apart(named: Sequence[tuple[float, str]], floor: float) -> list[tuple[float, str]]:
    """Words at their heights, moved apart where the heights lie close together."""
    out: list[tuple[float, str]] = []
    for y, text in sorted(named):
        out.append((max(y + 5, out[-1][0] + _STEP if out else -math.inf), text))
    over = max(0.0, out[-1][0] - floor)
    return [(y - over, text) for y, text in out]


def _interval(f: _Frame, view: Bedside) -> list[Markup]:
    """The 95 % interval of the zero reference's height as a bar beside the pole."""
    if view.interval_cm is None:
        return []
    mark = view.landmark_at[1]
    low, high = (f.y(mark + v) for v in view.interval_cm)
    return [element("rect", x=f.x(view.pole_cm) + 14, y=high, width=10, height=low - high,
                    fill="currentColor", fill_opacity=0.3, stroke="none")]

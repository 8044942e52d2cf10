"""Two sight lines from the side, up to the wall or to where they cross inside it.

Pure: numbers in, drawing out.  To scale in the chamber; the eyes stand outside the drawing.
"""

from __future__ import annotations

from markupsafe import Markup

from app.ui.lesson.sight_drawing import (
    BACK_MM,
    CAPTION,
    EYE_SIDE_MM,
    UNIT,
    liquid,
    marks,
    value_text,
    walls,
)
from vision.drawing.svg import (
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
from vision.lesson.parallax import EyeReading
from vision.lesson.two_looks import TwoLooks, crossing

_DASHES = ("", "9 5")


def two_looks_drawing(looks: TwoLooks, *, solved: bool) -> Drawing:
    """Draw two looks; inside the chamber, and with the level, only once ``solved``."""
    view, found = looks.first, crossing(looks)
    seen = found.first, found.second
    # The middle of the frame is that of the two readings: it does not tell where the level is.
    middle = (found.first.shift_mm + found.second.shift_mm) / 2
    half = max(26.0, abs(found.first.shift_mm - middle) + 14.0, abs(middle) + 12.0)
    outer, inner = view.scale.outer_radius_mm, view.bore_radius_mm
    width, tall = (outer + EYE_SIDE_MM + outer + BACK_MM) * UNIT, 2 * half * UNIT
    x0, y0 = (outer + EYE_SIDE_MM) * UNIT, (half + middle) * UNIT
    known: list[Markup] = []
    if solved:
        known = [element("circle", cx=0, cy=0, r=4.5, fill="currentColor", stroke="none"),
                 *_reach(looks, found.alone, outer + 5.0, "one", 1.4),
                 *_reach(looks, found.both, outer + 14.0, "both", 5.0)]
    scene = cut(0, 0, width, tall, element(
        "g", *walls(view, half + abs(middle)), *marks(view, half + abs(middle)),
        *(liquid(view, half + abs(middle)) if solved else []),
        *(_line(r, m, outer + EYE_SIDE_MM, inner, solved, dash)
          for r, m, dash in zip(seen, found.slopes, _DASHES, strict=True)),
        *known, transform=f"translate({x0:.1f} {y0:.1f})"))
    said = [f"the looks read {value_text(seen[0].naive_value, seen[0])} and, dashed, "
            f"{value_text(seen[1].naive_value, seen[1])} {seen[0].unit}"]
    level = value_text(view.true_value, seen[0])
    said.append(f"they cross at {level} {seen[0].unit}" if solved else "where do they cross?")
    height = tall + CAPTION
    parts = [frame(width, height), scene, path(f"M2 {tall:.0f}H{width - 2:.0f}", opacity=0.55),
             words(12, tall + 22, said[0], weight=650), words(12, tall + 42, said[1]),
             measure_bar(width - 88, tall + 37, 10 * UNIT, "1 cm")]
    return drawing(parts, f"Side view to scale. Two sight lines from {view.distance_mm / 10:g} cm "
                   f"away: {said[0]}; {said[1]}", width, height)


def _reach(looks: TwoLooks, values: tuple[float, float], x_mm: float, word: str,
           width: float) -> list[Markup]:
    """A bar from the lowest to the highest value that looks allow, beside the back wall."""
    scale, level = looks.first.scale, looks.first.level_mm
    low, high = (-(float(scale.height_mm(v)) - level) * UNIT for v in values)
    x = x_mm * UNIT
    return [path(f"M{x:.1f} {low:.1f}V{high:.1f}", stroke_width=width, stroke_linecap="butt"),
            path(f"M{x - 5:.1f} {low:.1f}h10M{x - 5:.1f} {high:.1f}h10", stroke_width=1.4),
            words(x, high - 7, word, anchor="middle")]


def _line(seen: EyeReading, slope: float, left: float, inner: float, solved: bool, dash: str
          ) -> Markup:
    """One sight line: to the inner face of the front wall, or on to the back wall."""
    (eye_d, eye_h), (outer, shift), front, _ = seen.path_mm
    climb = (eye_h - shift) / (eye_d - outer)
    points = [(1.5 * left, shift + climb * (1.5 * left - outer)), (outer, shift), front]
    if solved:
        points.append((-inner, -slope * inner))
    return Markup("").join((
        path(along((-d * UNIT, -h * UNIT) for d, h in points), stroke_width=2.4,
             stroke_dasharray=dash),
        element("circle", cx=-outer * UNIT, cy=-shift * UNIT, r=6, stroke_width=2.2)))

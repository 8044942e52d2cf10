"""The sight line from the side: eye, wall, liquid, where it is read and where it is true.

Pure: numbers in, drawing out.  To scale in the chamber; the eye stands outside
the drawing and its line comes in from the left.  The chamber is drawn in its own
frame and leant as a whole.
"""

from __future__ import annotations

import math

from markupsafe import Markup

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
from vision.hydrostatics.units import number_text
from vision.lesson.parallax import EyeReading, EyeView, eye_reading
from vision.optics.young_laplace import meniscus_profile

UNIT = 4.0  # drawing units in a mm
EYE_SIDE_MM = 54.0
BACK_MM = 20.0
CAPTION = 52.0


def sight_drawing(view: EyeView) -> Drawing:
    """Draw the sight line of a view."""
    seen = eye_reading(view)
    half = max(26.0, abs(seen.shift_mm) + 10.0)
    outer = view.scale.outer_radius_mm
    left, right = outer + EYE_SIDE_MM, outer + BACK_MM
    width, tall = (left + right) * UNIT, 2 * half * UNIT
    x0, y0 = left * UNIT, half * UNIT
    scene = cut(
        0, 0, width, tall,
        element("g", *walls(view, half), *liquid(view, half), *marks(view, half),
                *_sight(seen, left),
                transform=f"translate({x0:.1f} {y0:.1f}) rotate({view.lean_deg:.2f})"),
        *_level(seen, x0, y0, outer), *_eye(seen, view, half))
    said = (f"read {value_text(seen.naive_value, seen)}, true {value_text(seen.true_value, seen)} "
             f"{seen.unit}: {_error(seen)}")
    through = {"air": "through the air above the liquid",
               "liquid": "through the liquid, which bends it"}[seen.medium]
    if view.eye_height_mm == 0:
        through = "along the surface"
    height = tall + CAPTION
    parts = [frame(width, height), scene, path(f"M2 {tall:.0f}H{width - 2:.0f}", opacity=0.55),
             words(12, tall + 22, said, weight=650), words(12, tall + 42, through),
             measure_bar(width - 88, tall + 37, 10 * UNIT, "1 cm")]
    return drawing(parts, f"Side view to scale. {title(view, seen)}", width, height)


def title(view: EyeView, seen: EyeReading) -> str:
    """The drawing in words."""
    side = "at the level" if view.eye_height_mm == 0 else (
        f"{abs(view.eye_height_mm) / 10:g} cm {'above' if view.eye_height_mm > 0 else 'below'} "
        "the level")
    return (f"The eye stands {side}, {view.distance_mm / 10:g} cm away. Its sight line to the "
            f"lowest point of the surface crosses the marks at "
            f"{value_text(seen.naive_value, seen)} {seen.unit}; the level is "
            f"{value_text(seen.true_value, seen)} {seen.unit}: {_error(seen)}.")


def value_text(value: float, seen: EyeReading) -> str:
    """A value of the scale to a tenth of a division."""
    return number_text(value, 2 if seen.division < 1 else 1)


def _error(seen: EyeReading) -> str:
    if abs(seen.error_divisions) < 0.05:
        return "no error"
    way = "too much" if seen.error > 0 else "too little"
    return f"{value_text(abs(seen.error), seen)} {seen.unit} {way}"


def walls(view: EyeView, half: float) -> list[Markup]:
    """Two cut walls; a leaning chamber is drawn long enough to leave the frame."""
    inner, outer = (r * UNIT for r in (view.bore_radius_mm, view.scale.outer_radius_mm))
    tall = 1.4 * half * UNIT
    return [element("rect", x=x, y=-tall, width=outer - inner, height=2 * tall,
                    fill="currentColor", fill_opacity=0.16, stroke_width=1.1)
            for x in (-outer, inner)]


def liquid(view: EyeView, half: float) -> list[Markup]:
    """The liquid under its meniscus; in a leaning chamber the surface stays level."""
    r, z, _ = meniscus_profile(view.contact_angle_deg, view.bore_radius_mm, 31)
    slope = math.tan(math.radians(view.lean_deg))
    points = [(-a, b) for a, b in zip(r[::-1], z[::-1], strict=True)]
    points += [(a, b) for a, b in zip(r[1:], z[1:], strict=True)]
    # Seen in the chamber's frame a level plane rises on the side it leans to.
    line = along((x * UNIT, -(y + x * slope) * UNIT) for x, y in points)
    edge, low = view.bore_radius_mm * UNIT, 1.4 * half * UNIT
    return [path(f"{line}L{edge:.1f} {low:.1f}H{-edge:.1f}z", fill="currentColor",
                 fill_opacity=0.12, stroke="none"), path(line, stroke_width=2)]


def marks(view: EyeView, half: float) -> list[Markup]:
    """The printed marks on the outer face, seen edge on, with their numbers."""
    x, out = -view.scale.outer_radius_mm * UNIT, []
    for mark in view.scale.marks:
        y = -(mark.height_mm - view.level_mm) * UNIT
        if abs(y) > 1.3 * half * UNIT:
            continue
        size = 12 if mark.length == "long" else 7
        out.append(path(f"M{x:.1f} {y:.1f}h{-size}", stroke_width=1.1))
        if mark.label:
            out.append(words(x - 16, y + 5, mark.text, anchor="end"))
    return out


def _sight(seen: EyeReading, left: float) -> list[Markup]:
    """The sight line in the chamber's frame, cut where it leaves the drawing."""
    (eye_d, eye_h), *inside = seen.path_mm
    outer, shift = inside[0]
    slope = (eye_h - shift) / (eye_d - outer)
    reach = min(eye_d, 1.5 * left)
    start = (reach, shift + slope * (reach - outer))
    points = [start, *inside]
    return [path(along((-d * UNIT, -h * UNIT) for d, h in points), stroke_width=2.6),
            element("circle", cx=-outer * UNIT, cy=-shift * UNIT, r=6, stroke_width=2.2),
            element("circle", cx=0, cy=0, r=4.5, fill="currentColor", stroke="none")]


def _level(seen: EyeReading, x0: float, y0: float, outer: float) -> list[Markup]:
    """The level through the lowest point, straight to the marks and beyond."""
    end = x0 + (outer + 2) * UNIT
    return [path(f"M8 {y0:.1f}H{end:.1f}", stroke_dasharray="7 5", stroke_width=1.3),
            words(end + 4, y0 - 6, "true"),
            words(end + 4, y0 + 13, value_text(seen.true_value, seen))]


def _eye(seen: EyeReading, view: EyeView, half: float) -> list[Markup]:
    """Where the eye is and the reading it takes, on the side that the line leaves free."""
    height = view.eye_height_mm / 10
    where = "at the level" if height == 0 else (
        f"{abs(height):g} cm {'above' if height > 0 else 'below'}")
    lines = ((f"reads {value_text(seen.naive_value, seen)}", 650), (f"eye {where},", 400),
             (f"{view.distance_mm / 10:g} cm away", 400))
    top = 2 * half * UNIT - 52 if seen.shift_mm >= 0 else 22.0
    return [words(12, top + 19 * i, text, weight=weight) for i, (text, weight) in enumerate(lines)]

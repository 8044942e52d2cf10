"""The level drawn to scale: pole and panel on one side, the landmark on the other.

Pure: numbers in, drawing out.  Every centimetre is drawn equally long in both
directions; lines and words carry the meaning, the page sets the colour.
"""

from __future__ import annotations

from markupsafe import Markup

from vision.drawing.svg import Drawing, drawing, element, path, words

_UNIT = 4.0  # drawing units in a cm
_LEFT_CM, _RIGHT_CM = 20.0, 34.0


def level_drawing(offset_cm: float, interval_cm: tuple[float, float], distance_cm: float
                  ) -> Drawing:
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
        element("circle", cx=x(0), cy=y(0), r=8.5 * _UNIT),
        path(f"M{x(-_LEFT_CM + 1):.1f} {y(-9):.1f} q20 -8 44 2"),
        _dot(x(0), y(0)),
        path(f"M{x(-_LEFT_CM):.1f} {y(0):.1f}H{pole + 40:.1f}", stroke_dasharray="7 5"),
        path(f"M{pole:.1f} 6V{height - 6:.1f}", stroke_width=5),
        element("rect", x=pole - 26, y=zero - 60, width=52, height=120),
        path(f"M{x(8):.1f} {zero:.1f}H{pole + 40:.1f}", stroke_dasharray="12 4 2 4"),
        _dot(pole, zero),
        # The interval as a bar, the offset as a bracket.
        element("rect", x=pole + 44, y=high_y, width=12, height=low_y - high_y,
                fill="currentColor", fill_opacity=0.25, stroke="none"),
        path(f"M{pole + 50:.1f} {y(0):.1f}V{zero:.1f}", stroke_width=3),
        # The lower of the two words stands below its line, the other above: they never meet.
        words(x(9), y(0) + (18 if offset_cm > 0 else -7), "landmark"),
        words(x(9), zero + (-7 if offset_cm > 0 else 18), "zero reference"),
        words(pole + 60, (zero + y(0)) / 2 + 5, f"{abs(offset_cm):.1f} cm"),
    ]
    low_words, high_words = (f"{v:+.1f}" for v in interval_cm)
    title = (f"The zero reference hangs {abs(offset_cm):.1f} cm {where}, 95 % interval {low_words}"
             f" to {high_words} cm, {distance_cm:.0f} cm beside the landmark.")
    return drawing(parts, title, width, height, stroke_linecap="butt", stroke_linejoin="miter",
                   font_family="sans-serif")


def _dot(x: float, y: float) -> Markup:
    return element("circle", cx=x, cy=y, r=4, fill="currentColor")

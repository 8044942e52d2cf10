"""The drawings of the educator's page and of the page on uncertainty."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from figures.values import (
    ABOVE_PHOTO,
    BORE_MM,
    CM,
    CONTACT_DEG,
    DISTANCE_MM,
    EYES_MM,
    LEVEL_PHOTO,
    SECOND_EYE_MM,
    bench,
    eye,
)

from app.ui.lesson.plot import Line, curve_drawing
from app.ui.lesson.sight_drawing import sight_drawing
from app.ui.lesson.two_looks_drawing import two_looks_drawing
from vision.drawing.plot import rows
from vision.drawing.svg import TEXT, Drawing
from vision.lesson.level import BedView, DrainModel, drain_course, level_threshold
from vision.lesson.level_drawing import REACH_CM, now_drawing
from vision.lesson.parallax import EyeView, error_curve, lesson_scale
from vision.lesson.two_looks import TwoLooks
from vision.reading import VolumeReading
from vision.synthetic.chamber.lesson_picture import trace

#: A drawing's file name and its content.
Made = tuple[str, bytes]


def saved(name: str, drawn: Drawing) -> Made:
    """A drawing with a white ground and its words as the picture's description."""
    head, rest = drawn.svg.split("</title>", 1)
    return f"{name}.svg", (f'{head}</title><rect width="100%" height="100%" fill="white" '
                           f'stroke="none"/>{rest}\n').encode()


def all_drawings() -> Iterator[Made]:
    """Every drawing, the costly ones last."""
    yield from parallax()
    yield from two_looks()
    yield from level()
    yield from budgets()
    yield from eyes()


def eyes() -> Iterator[Made]:
    """What each of the three eyes sees."""
    for name, height in EYES_MM.items():
        yield f"eye-{name}.jpg", trace(eye(height), "pink", samples=4)


def parallax() -> Iterator[Made]:
    """The sight lines of three eyes, and the curve of the error."""
    for name, height in EYES_MM.items():
        yield saved(f"sight-{name}", sight_drawing(eye(height)))
    heights = np.linspace(-25, 25, 101)
    lines = []
    for bore, dash in ((20.0, "2 5"), (BORE_MM, ""), (40.0, "9 5")):
        scale = lesson_scale(bore)
        view = EyeView(scale, float(scale.value_at(46.7)), 0.0, DISTANCE_MM, CONTACT_DEG)
        mm_per_ml = 4000.0 / (np.pi * bore**2)
        lines.append(Line([(float(h), float(e) * mm_per_ml) for h, e in zip(
            heights, error_curve(view, 10 * heights), strict=True)], f"{bore:g}", dash))
    yield saved("error-curve", curve_drawing(
        lines, "eye over the level, cm", "error in mm of height, for bores of 20, 30, 40 mm",
        "Error of the reading against the height of the eye, 35 cm away: the wider the bore, "
        "the larger; from below about three quarters of what it is from above."))


def two_looks() -> Iterator[Made]:
    """A second look from 8 cm lower, and from nearly the same place."""
    for name, second in SECOND_EYE_MM.items():
        yield saved(name, two_looks_drawing(TwoLooks(eye(EYES_MM["above"]), second), solved=True))


def level() -> Iterator[Made]:
    """A bed raised from 30 to 45 degrees, and the teaching model's next hour."""
    before, after = BedView(10, CM), BedView(10, CM, bed_to_deg=45.0)
    for name, view in (("level-before", before), ("level-after", after)):
        yield saved(name, now_drawing(view, level_threshold(view), REACH_CM))
    lines = []
    for view, dash in ((before, "7 5"), (after, "")):
        course = drain_course(DrainModel(12.0, level_threshold(view).value_cm_h2o))
        lines.append(Line([(60 * float(h), float(v)) for h, v in zip(
            course.hours, course.drained_ml, strict=True)], dash=dash))
    yield saved("next-hour", curve_drawing(
        lines, "minutes", "drained, mL (teaching model); dashed: as levelled",
        "Teaching model: what drains in an hour as levelled, and after the head of the bed was "
        "raised while the system stayed where it hung."))


def budgets() -> Iterator[Made]:
    """The uncertainty budgets of two of the sample photos."""
    for name, photo in (("budget-level", LEVEL_PHOTO), ("budget-above", ABOVE_PHOTO)):
        yield saved(name, budget_bars(bench(photo)))


def budget_bars(read: VolumeReading) -> Drawing:
    """Terms of a budget as bars, the largest first."""
    terms = sorted(read.budget, key=lambda t: -t.standard_uncertainty)
    longest = max(t.standard_uncertainty for t in terms)
    low, high = read.interval or (0.0, 0.0)
    head = (f"{read.value:.2f} {read.unit} ({low:.2f} to {high:.2f}); bars: standard "
            f"uncertainty, {read.unit}")
    plot = rows((0.0, 1.2 * longest), [t.term for t in terms], left=230.0, step=26.0,
                top=38.0, bottom=8.0, text=TEXT)
    plot.words(12, 24, head, weight=650)
    for k, term in enumerate(terms):
        size = term.standard_uncertainty
        plot.area((0.0, size), (k - 0.3, k + 0.3), fill="currentColor", stroke="none")
        plot.words(plot.x(size) + 7, plot.y(k) + 5, f"{size:.3f}")
    said = "; ".join(f"{t.term} {t.standard_uncertainty:.3f}" for t in terms)
    return plot.drawing(f"{head}. {said}")


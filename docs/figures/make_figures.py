"""The figures of the educator's page and of the page on uncertainty, made anew.

``python docs/figures/make_figures.py`` writes them beside itself; takes half a minute.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from app.ui.lesson.plot import Line, curve_drawing
from app.ui.lesson.sight_drawing import sight_drawing
from app.ui.lesson.two_looks_drawing import two_looks_drawing
from vision.drawing.plot import rows
from vision.drawing.svg import TEXT, Drawing
from vision.imaging.photo import load_photo
from vision.lesson.level import BedView, DrainModel, drain_course, level_threshold
from vision.lesson.level_drawing import REACH_CM, now_drawing
from vision.lesson.parallax import EyeView, error_curve, lesson_scale
from vision.lesson.two_looks import TwoLooks, crossing
from vision.reading import VolumeReading
from vision.scale_file.scale import load_scale
from vision.synthetic.chamber.lesson_picture import trace
from vision.volume.read import read_volume

HERE = Path(__file__).resolve().parent
EYES = {"above": 120.0, "level": 0.0, "below": -120.0}


def save(name: str, drawn: Drawing) -> None:
    """Write a drawing with a white ground and its words as the picture's description."""
    head, rest = drawn.svg.split("</title>", 1)
    (HERE / f"{name}.svg").write_text(
        f'{head}</title><rect width="100%" height="100%" fill="white" stroke="none"/>{rest}\n',
        encoding="utf-8")


def eye(height_mm: float) -> EyeView:
    """The chamber of all figures: bore 30 mm, 33 mL, seen from 35 cm."""
    return EyeView(lesson_scale(30.0), 33.0, height_mm, 350.0, 60.0)


def parallax() -> None:
    """Three eyes: what each sees, its sight line, and the curve of the error."""
    for name, height in EYES.items():
        (HERE / f"eye-{name}.jpg").write_bytes(trace(eye(height), "pink", samples=4))
        save(f"sight-{name}", sight_drawing(eye(height)))
    heights = np.linspace(-25, 25, 101)
    lines = []
    for bore, dash in ((20.0, "2 5"), (30.0, ""), (40.0, "9 5")):
        scale = lesson_scale(bore)
        view = EyeView(scale, float(scale.value_at(46.7)), 0.0, 350.0, 60.0)
        mm_per_ml = 4000.0 / (np.pi * bore**2)
        lines.append(Line([(float(h), float(e) * mm_per_ml) for h, e in zip(
            heights, error_curve(view, 10 * heights), strict=True)], f"{bore:g}", dash))
    save("error-curve", curve_drawing(
        lines, "eye over the level, cm", "error in mm of height, for bores of 20, 30, 40 mm",
        "Error of the reading against the height of the eye, 35 cm away: the wider the bore, "
        "the larger; from below about three quarters of what it is from above."))


def two_looks() -> None:
    """A second look from 8 cm lower, and from nearly the same place."""
    for name, second in (("looks-apart", 40.0), ("looks-near", 105.0)):
        looks = TwoLooks(eye(120.0), second)
        save(name, two_looks_drawing(looks, solved=True))
        found = crossing(looks)
        print(name, *(f"{low:.1f} to {high:.1f}" for low, high in (found.alone, found.both)))


def level() -> None:
    """A bed raised from 30 to 45 degrees, and the teaching model's next hour."""
    before, after = BedView(10, "cm[H2O]"), BedView(10, "cm[H2O]", bed_to_deg=45.0)
    for name, view in (("level-before", before), ("level-after", after)):
        save(name, now_drawing(view, level_threshold(view), REACH_CM))
    lines = []
    for view, dash in ((before, "7 5"), (after, "")):
        course = drain_course(DrainModel(12.0, level_threshold(view).value_cm_h2o))
        lines.append(Line([(60 * float(h), float(v)) for h, v in zip(
            course.hours, course.drained_ml, strict=True)], dash=dash))
    save("next-hour", curve_drawing(
        lines, "minutes", "drained, mL (teaching model); dashed: as levelled",
        "Teaching model: what drains in an hour as levelled, and after the head of the bed was "
        "raised while the system stayed where it hung."))


def budget() -> None:
    """The uncertainty budgets of two of the sample photos."""
    folder = HERE.parents[1] / "sample_images"
    for name, photo, scale in (("budget-level", "bench-1-pink.jpg", "quay-60"),
                               ("budget-above", "bench-4-from-above.jpg", "quay-60")):
        read = read_volume(load_photo(folder / photo), load_scale(scale))
        save(name, budget_bars(read))
        print(name, read.status, read.value, read.interval)


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


if __name__ == "__main__":
    parallax()
    two_looks()
    level()
    budget()

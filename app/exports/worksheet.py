"""The worksheet of a class set and its answer sheet, as PDF for plain black print.

Everything counts in mm from the top left corner of the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from app.exports.mm_sheet import HAIR, MARGIN, MM, RULE, Sheet
from app.exports.print_sheet import Paper
from vision.hydrostatics.units import WORDS, both_units, number_text
from vision.lesson.level import LEVEL_CAUSES, LevelTask, level_threshold, wrong_thresholds
from vision.lesson.level_drawing import before_drawing, now_drawing
from vision.lesson.parallax import eye_reading
from vision.lesson.rounds import PARALLAX_CAUSES, ChamberTask, wrong_readings

_CELL_W, _BEDSIDE_TALL = 91.0, 52.0

HOW_TO = ("Read each chamber where the liquid stands, not where it seems to stand. Write down "
          "your first reading, then say where the eye was, then what is really in the chamber. "
          "From one mark to the next is not always 1 mL: count the marks between two numbers. "
          "Do not rub anything out: the first reading is what you will learn from.")


def worksheet_pdf(pictures: Sequence[Path], tasks: Sequence[ChamberTask],
                  bedsides: Sequence[LevelTask], code: str, paper: Paper = "a4") -> bytes:
    """The learners' sheet: four pictures a page, then the bedsides.  It holds no answer."""
    sheet = Sheet("Worksheet: what is in the chamber?", "For learners", paper)
    for first in range(0, len(pictures), 4):
        sheet.head("What is in the chamber?", code, name=True)
        top = 34.5
        if first == 0:
            top = sheet.paragraph(MARGIN, 34.5, HOW_TO, sheet.width - 2 * MARGIN, 8.5) + 1.0
        tall = (sheet.height - top - 14.0) / 2
        for k in range(first, min(first + 4, len(pictures))):
            x = MARGIN + (k - first) % 2 * _CELL_W
            y = top + (k - first) // 2 * tall
            _picture_cell(sheet, x, y, tall, k + 1, pictures[k], tasks[k])
    _bedside_page(sheet, bedsides, code, len(pictures))
    return sheet.bytes()


def _picture_cell(sheet: Sheet, x: float, y: float, tall: float, number: int, picture: Path,
                  task: ChamberTask) -> None:
    """One picture with what is to be written beside it."""
    image = _chamber_part(picture, task)
    wide = min((tall - 8.0) * image.width / image.height, 45.0)
    sheet.picture(x, y, image, wide)
    left, right = x + wide + 3.0, x + _CELL_W - 4.0
    sheet.text(left, y + 6, f"No. {number}", 13, bold=True)
    sheet.blank(left, y + 18, "I read", right - 8)
    sheet.text(right, y + 18, "mL", 8.5, right=True)
    sheet.text(left, y + 30, "The eye was", 8.5)
    for i, place in enumerate(("above", "level", "below")):
        sheet.canvas.setLineWidth(HAIR)
        sheet.canvas.rect(left * MM, (sheet.height - y - 36 - 7 * i) * MM, 3 * MM, 3 * MM)
        sheet.text(left + 5, y + 35.4 + 7 * i, place, 8.5)
    sheet.blank(left, y + 61, "From mark to mark", right - 8)
    sheet.text(right, y + 61, "mL", 8.5, right=True)
    sheet.blank(left, y + 73, "Really", right - 8)
    sheet.text(right, y + 73, "mL", 8.5, right=True)
    sheet.blank(left, y + 85, "Give or take", right - 8)
    sheet.text(right, y + 85, "mL", 8.5, right=True)


def _chamber_part(picture: Path, task: ChamberTask) -> Any:
    """The picture, cut to the chamber's width and a little room beside it."""
    from PIL import Image

    from vision.synthetic.chamber.camera import view_of
    from vision.synthetic.chamber.lesson import scene_of

    with Image.open(picture) as opened:
        image = opened.convert("RGB")
    scene = scene_of(task, image.size)
    view = view_of(scene)
    reach = scene.scale.outer_radius_mm + 5.0
    ends = [[0.0, 0.0, scene.tube.floor_mm], [0.0, 0.0, scene.tube.lid_mm]]
    near = max(view.focal_px / ((p - view.centre) @ view.axes[2]) for p in map(_array, ends))
    middle = float(view.project(_array([ends[0], ends[1]])).mean(axis=0)[0])
    left, right = (round(min(max(middle + s * reach * near, 0), image.width)) for s in (-1, 1))
    return image.crop((left, 0, right, image.height))


def _array(values: Any) -> Any:
    import numpy as np

    return np.asarray(values, dtype=float)


def _bedside_page(sheet: Sheet, bedsides: Sequence[LevelTask], code: str, after: int) -> None:
    """The second half of the worksheet: thresholds after something was moved."""
    sheet.head("At which pressure does it open?", code, name=True)
    y = sheet.paragraph(MARGIN, 36, "Give the pressure at the landmark at which the drain would "
                        "open, in the unit of the panel. 1 cm of fluid is 1 cmH2O, 0.74 mmHg.",
                        sheet.width - 2 * MARGIN, 8.5) + 4
    for k, task in enumerate(bedsides, start=after + 1):
        if y + _BEDSIDE_TALL > sheet.height - 14:
            sheet.head("At which pressure does it open?", code, name=True)
            y = 38.0
        sheet.text(MARGIN, y, f"No. {k}", 13, bold=True)
        left, right = MARGIN + 78, sheet.width - MARGIN
        low = y + 3 + sheet.drawing(MARGIN, y + 3, before_drawing(task.view), 72.0)
        line = y
        for sentence in task.sentences:
            line = sheet.paragraph(left, line, sentence, right - left, 9) + 1
        sheet.blank(left, line + 8, "The system now hangs", right - 30)
        sheet.text(right, line + 8, "cm too high / low", 8.5, right=True)
        sheet.blank(left, line + 17, "It opens at", right - 14)
        sheet.text(right, line + 17, WORDS[task.view.unit], 8.5, right=True)
        sheet.blank(left, line + 25, "It drains more / as ordered / less, because", right)
        y = max(line + 27, low) + 6


def answers_pdf(tasks: Sequence[ChamberTask], bedsides: Sequence[LevelTask], code: str,
                sealed: str, seed: int, paper: Paper = "a4") -> bytes:
    """The teacher's sheet: true values, what each error would give, a sight line a picture."""
    sheet = Sheet("Answers: what is in the chamber?", "For the teacher", paper)
    per_page = 6
    row = (sheet.height - 35.0 - 20.0) / per_page
    for first in range(0, len(tasks), per_page):
        sheet.head("Answers", code, name=False)
        y = 35.0
        if first == 0:
            y = sheet.paragraph(
                MARGIN, 34.5, f"Seed {seed}. Seal {sealed}. Right is within half a division. The "
                "thick line is the sight line to the lowest point; where it meets the marks is "
                "what the eye reads.", sheet.width - 2 * MARGIN, 8) + 2
        for k in range(first, min(first + per_page, len(tasks))):
            _answer_row(sheet, y + (k - first) * row, k + 1, tasks[k])
    sheet.head("Answers: at which pressure does it open?", code, name=False)
    y = 38.0
    for k, task in enumerate(bedsides, start=len(tasks) + 1):
        now = level_threshold(task.view)
        if y + _BEDSIDE_TALL > sheet.height - 14:
            sheet.head("Answers: at which pressure does it open?", code, name=False)
            y = 38.0
        wide = sheet.width - 2 * MARGIN - 22 - 66
        low = y + sheet.drawing(sheet.width - MARGIN - 62, y - 4, now_drawing(task.view, now), 62.0)
        sheet.text(MARGIN, y, f"No. {k}", 11, bold=True)
        sheet.text(MARGIN + 22, y, f"opens at {number_text(task.truth)} "
                   f"{WORDS[task.view.unit]}", 11, bold=True)
        y = sheet.paragraph(
            MARGIN + 22, y + 5.5, f"{both_units(now.value_cm_h2o)}. Pole "
            f"{number_text(task.view.pole_cm)} cm, landmark "
            f"{number_text(task.view.landmark_rise_cm)} cm, offset "
            f"{number_text(now.offset_cm)} cm. {now.effect}", wide, 8) + 1.5
        y = max(_wrong_lines(sheet, MARGIN + 22, y, wrong_thresholds(task.view), task.trap,
                             LEVEL_CAUSES), low) + 6
    return sheet.bytes()


def _answer_row(sheet: Sheet, y: float, number: int, task: ChamberTask) -> None:
    view, seen = task.view, eye_reading(task.view)
    places = 2 if view.division < 1 else 1
    sheet.text(MARGIN, y + 5, f"No. {number}", 11, bold=True)
    sheet.text(MARGIN + 22, y + 5, f"true {number_text(view.true_value, places)} mL", 11,
               bold=True)
    sheet.text(MARGIN + 62, y + 5, f"eye {number_text(view.eye_height_mm / 10)} cm over the "
               f"level, {number_text(view.distance_mm / 10, 0)} cm away", 8)
    sheet.text(MARGIN + 62, y + 9.5, f"one division {view.division:g} mL; the eye reads "
               f"{number_text(seen.naive_value, places)} mL", 8)
    _wrong_lines(sheet, MARGIN + 22, y + 14.5, wrong_readings(view), task.trap, PARALLAX_CAUSES,
                 places)
    _sight_sketch(sheet, 180.0, y + 15.0, task, seen.path_mm)


def _wrong_lines(sheet: Sheet, x: float, y: float, wrong: dict[str, tuple[float, ...]],
                 trap: str, causes: dict[str, str], places: int = 1) -> float:
    """What each cause of error would give; the one that was laid out is marked."""
    for cause in causes:
        if cause in wrong:
            values = " or ".join(number_text(v, places) for v in wrong[cause])
            mark = "  <- laid out for this" if cause == trap else ""
            sheet.text(x, y, f"{values}: {cause}{mark}", 8, bold=cause == trap)
            y += 4.2
    return y


def _sight_sketch(sheet: Sheet, x: float, y: float, task: ChamberTask,
                  path: Sequence[tuple[float, float]]) -> None:
    """The sight line at the chamber, half size, the chamber's axis at (x, y)."""
    view, size, half = task.view, 0.5, 12.0
    inner, outer = view.bore_radius_mm * size, view.scale.outer_radius_mm * size
    for r in (-outer, -inner, inner, outer):
        sheet.line([(x + r, y - half), (x + r, y + half)])
    sheet.line([(x - inner, y), (x + inner, y)], RULE)
    sheet.line([(x - outer - 14, y), (x - inner, y)], HAIR, (2, 2))
    for mark in view.scale.marks:
        at = y - (mark.height_mm - view.level_mm) * size
        if abs(at - y) <= half:
            sheet.line([(x - outer, at), (x - outer - (2.4 if mark.length == "long" else 1.4), at)])
    (d0, h0), (d1, h1) = path[0], path[1]
    # From the left edge of the sketch, as long as it stays within its height.
    reach = d1 + 14.0 / size
    start = h1 + (h0 - h1) / (d0 - d1) * (reach - d1)
    if abs(start) * size > half:
        share = (half / size - abs(h1)) / (abs(start) - abs(h1))
        reach, start = d1 + share * (reach - d1), h1 + share * (start - h1)
    points = [(reach, start), *path[1:]]
    sheet.line([(x - d * size, y - h * size) for d, h in points], 1.3)

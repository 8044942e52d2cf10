"""The worksheet of a class set and its answer sheet, as PDF for plain black print."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from app.exports.sheet_text import BOLD, REGULAR, use_fonts
from vision.hydrostatics.units import WORDS, both_units, number_text
from vision.lesson.level import LEVEL_CAUSES, LevelTask, level_threshold, wrong_thresholds
from vision.lesson.parallax import eye_reading
from vision.lesson.rounds import PARALLAX_CAUSES, ChamberTask, wrong_readings

_MM = 72 / 25.4
_WIDTH, _HEIGHT = 210.0, 297.0  # A4; everything in this file counts in mm from the top left
_MARGIN = 14.0
_CELL_W, _CELL_H = 91.0, 116.0
_HAIR, _RULE = 0.35, 0.9

CAUTION = ("Computed chambers of no real make, for practice. Not a medical device; the local "
           "order and trained staff decide.")
HOW_TO = ("Read each chamber where the liquid stands, not where it seems to stand. Write down "
          "your first reading, then say where the eye was, then what is really in the chamber. "
          "Do not rub anything out: the first reading is what you will learn from.")


class _Sheet:
    """A canvas that counts in mm from the top left corner of the page."""

    def __init__(self, title: str, subject: str) -> None:
        from reportlab.pdfgen.canvas import Canvas

        use_fonts()
        self.buffer = io.BytesIO()
        self.canvas = Canvas(self.buffer, pagesize=(_WIDTH * _MM, _HEIGHT * _MM), invariant=1)
        self.canvas.setTitle(title)
        self.canvas.setAuthor("Countersight")
        self.canvas.setSubject(subject)
        self.page = 0

    def text(self, x: float, y: float, words: str, size: float = 9.0, bold: bool = False,
             right: bool = False) -> None:
        """One line of text with its base at (x, y)."""
        self.canvas.setFont(BOLD if bold else REGULAR, size)
        draw = self.canvas.drawRightString if right else self.canvas.drawString
        draw(x * _MM, (_HEIGHT - y) * _MM, words)

    def paragraph(self, x: float, y: float, words: str, width: float, size: float = 9.0) -> float:
        """Text broken into lines; returns where the next line would stand."""
        from reportlab.lib.utils import simpleSplit

        use_fonts()
        for line in simpleSplit(words, REGULAR, size, width * _MM):
            self.text(x, y, line, size)
            y += size * 0.48
        return y

    def line(self, points: Sequence[tuple[float, float]], width: float = _HAIR,
             dash: tuple[float, float] | None = None) -> None:
        """A line through points."""
        self.canvas.setLineWidth(width)
        self.canvas.setDash(*(dash,) if dash else ())
        path = self.canvas.beginPath()
        for i, (x, y) in enumerate(points):
            (path.lineTo if i else path.moveTo)(x * _MM, (_HEIGHT - y) * _MM)
        self.canvas.drawPath(path)
        self.canvas.setDash()

    def blank(self, x: float, y: float, words: str, to: float) -> None:
        """Words with a line to write on behind them."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        self.text(x, y, words, 8.5)
        start = x + stringWidth(words, REGULAR, 8.5) / _MM + 1.5
        self.line([(start, y + 0.8), (to, y + 0.8)])

    def head(self, title: str, code: str, name: bool) -> None:
        """Open a page: title, the set's code, a place for the learner's code."""
        if self.page:
            self.canvas.showPage()
        self.page += 1
        self.text(_MARGIN, 17, title, 14, bold=True)
        self.text(_WIDTH - _MARGIN, 17, f"Set {code}", 10, bold=True, right=True)
        if name:
            self.blank(_MARGIN, 25, "Your code (no name)", 92)
            self.blank(98, 25, "Date", _WIDTH - _MARGIN)
        self.line([(_MARGIN, 29), (_WIDTH - _MARGIN, 29)], _RULE)
        self.text(_MARGIN, _HEIGHT - 9, CAUTION, 6.5)
        self.text(_WIDTH - _MARGIN, _HEIGHT - 9, f"sheet {self.page}", 6.5, right=True)

    def bytes(self) -> bytes:
        """The finished file."""
        self.canvas.save()
        return self.buffer.getvalue()


def worksheet_pdf(pictures: Sequence[Path], tasks: Sequence[ChamberTask],
                  bedsides: Sequence[LevelTask], code: str) -> bytes:
    """The learners' sheet: four pictures a page, then the bedsides.  It holds no answer."""
    sheet = _Sheet("Worksheet: what is in the chamber?", "For learners")
    for first in range(0, len(pictures), 4):
        sheet.head("What is in the chamber?", code, name=True)
        top = 34.0
        if first == 0:
            top = sheet.paragraph(_MARGIN, 34.5, HOW_TO, _WIDTH - 2 * _MARGIN, 8.5) + 1.0
        for k in range(first, min(first + 4, len(pictures))):
            x = _MARGIN + (k - first) % 2 * _CELL_W
            y = top + (k - first) // 2 * _CELL_H
            _picture_cell(sheet, x, y, k + 1, pictures[k], tasks[k])
    _bedside_page(sheet, bedsides, code, len(pictures))
    return sheet.bytes()


def _picture_cell(sheet: _Sheet, x: float, y: float, number: int, picture: Path,
                  task: ChamberTask) -> None:
    """One picture with what is to be written beside it."""
    from reportlab.lib.utils import ImageReader

    image = _chamber_part(picture, task)
    tall = _CELL_H - 8.0
    wide = min(tall * image.width / image.height, 48.0)
    tall = wide * image.height / image.width
    data = io.BytesIO()
    image.save(data, "JPEG", quality=88)
    data.seek(0)
    sheet.canvas.drawImage(ImageReader(data), x * _MM, (_HEIGHT - y - tall) * _MM, wide * _MM,
                           tall * _MM)
    left, right = x + wide + 3.0, x + _CELL_W - 4.0
    sheet.text(left, y + 6, f"No. {number}", 13, bold=True)
    sheet.blank(left, y + 18, "I read", right - 8)
    sheet.text(right, y + 18, "mL", 8.5, right=True)
    sheet.text(left, y + 30, "The eye was", 8.5)
    for i, place in enumerate(("above", "level", "below")):
        sheet.canvas.setLineWidth(_HAIR)
        sheet.canvas.rect(left * _MM, (_HEIGHT - y - 36 - 7 * i) * _MM, 3 * _MM, 3 * _MM)
        sheet.text(left + 5, y + 35.4 + 7 * i, place, 8.5)
    sheet.blank(left, y + 61, "One division is", right - 8)
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


def _bedside_page(sheet: _Sheet, bedsides: Sequence[LevelTask], code: str, after: int) -> None:
    """The second half of the worksheet: thresholds after something was moved."""
    sheet.head("At which pressure does it open?", code, name=True)
    y = sheet.paragraph(_MARGIN, 36, "Give the pressure at the landmark at which the drain would "
                        "open, in the unit of the panel. 1 cm of fluid is 1 cmH2O, 0.74 mmHg.",
                        _WIDTH - 2 * _MARGIN, 8.5) + 4
    for k, task in enumerate(bedsides, start=after + 1):
        sheet.text(_MARGIN, y, f"No. {k}", 13, bold=True)
        line = y
        for sentence in task.sentences:
            line = sheet.paragraph(_MARGIN + 24, line, sentence, _WIDTH - 2 * _MARGIN - 24, 9) + 1
        unit = WORDS[task.view.unit]
        sheet.blank(_MARGIN + 24, line + 8, "Raised or lowered against the landmark by", 128)
        sheet.text(130, line + 8, "cm", 8.5)
        sheet.blank(_MARGIN + 24, line + 17, "It opens at", 76)
        sheet.text(78, line + 17, unit, 8.5)
        sheet.blank(98, line + 17, "It drains (more / as ordered / less)", _WIDTH - _MARGIN)
        y = line + 31


def answers_pdf(tasks: Sequence[ChamberTask], bedsides: Sequence[LevelTask], code: str,
                sealed: str, seed: int) -> bytes:
    """The teacher's sheet: true values, what each error would give, a sight line a picture."""
    sheet = _Sheet("Answers: what is in the chamber?", "For the teacher")
    per_page, row = 6, 37.0
    for first in range(0, len(tasks), per_page):
        sheet.head("Answers", code, name=False)
        y = 35.0
        if first == 0:
            y = sheet.paragraph(
                _MARGIN, 34.5, f"Seed {seed}. Seal {sealed}. Right is within half a division. The "
                "thick line is the sight line to the lowest point; where it meets the marks is "
                "what the eye reads.", _WIDTH - 2 * _MARGIN, 8) + 2
        for k in range(first, min(first + per_page, len(tasks))):
            _answer_row(sheet, y + (k - first) * row, k + 1, tasks[k])
    sheet.head("Answers: at which pressure does it open?", code, name=False)
    y = 38.0
    for k, task in enumerate(bedsides, start=len(tasks) + 1):
        now = level_threshold(task.view)
        sheet.text(_MARGIN, y, f"No. {k}", 11, bold=True)
        sheet.text(_MARGIN + 22, y, f"opens at {number_text(task.truth)} "
                   f"{WORDS[task.view.unit]}", 11, bold=True)
        y = sheet.paragraph(
            _MARGIN + 22, y + 5.5, f"{both_units(now.value_cm_h2o)}. Pole "
            f"{number_text(task.view.pole_cm)} cm, landmark "
            f"{number_text(task.view.landmark_rise_cm)} cm, offset "
            f"{number_text(now.offset_cm)} cm. {now.effect}", _WIDTH - 2 * _MARGIN - 22, 8) + 1.5
        y = _wrong_lines(sheet, _MARGIN + 22, y, wrong_thresholds(task.view), task.trap,
                         LEVEL_CAUSES) + 6
    return sheet.bytes()


def _answer_row(sheet: _Sheet, y: float, number: int, task: ChamberTask) -> None:
    view, seen = task.view, eye_reading(task.view)
    places = 2 if view.division < 1 else 1
    sheet.text(_MARGIN, y + 5, f"No. {number}", 11, bold=True)
    sheet.text(_MARGIN + 22, y + 5, f"true {number_text(view.true_value, places)} mL", 11,
               bold=True)
    sheet.text(_MARGIN + 62, y + 5, f"eye {number_text(view.eye_height_mm / 10)} cm over the "
               f"level, {number_text(view.distance_mm / 10, 0)} cm away", 8)
    sheet.text(_MARGIN + 62, y + 9.5, f"one division {view.division:g} mL; the eye reads "
               f"{number_text(seen.naive_value, places)} mL", 8)
    _wrong_lines(sheet, _MARGIN + 22, y + 14.5, wrong_readings(view), task.trap, PARALLAX_CAUSES,
                 places)
    _sight_sketch(sheet, 180.0, y + 15.0, task, seen.path_mm)


def _wrong_lines(sheet: _Sheet, x: float, y: float, wrong: dict[str, tuple[float, ...]],
                 trap: str, causes: dict[str, str], places: int = 1) -> float:
    """What each cause of error would give; the one that was laid out is marked."""
    for cause in causes:
        if cause in wrong:
            values = " or ".join(number_text(v, places) for v in wrong[cause])
            mark = "  <- laid out for this" if cause == trap else ""
            sheet.text(x, y, f"{values}: {cause}{mark}", 8, bold=cause == trap)
            y += 4.2
    return y


def _sight_sketch(sheet: _Sheet, x: float, y: float, task: ChamberTask,
                  path: Sequence[tuple[float, float]]) -> None:
    """The sight line at the chamber, half size, the chamber's axis at (x, y)."""
    view, size, half = task.view, 0.5, 12.0
    inner, outer = view.bore_radius_mm * size, view.scale.outer_radius_mm * size
    for r in (-outer, -inner, inner, outer):
        sheet.line([(x + r, y - half), (x + r, y + half)])
    sheet.line([(x - inner, y), (x + inner, y)], _RULE)
    sheet.line([(x - outer - 14, y), (x - inner, y)], _HAIR, (2, 2))
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

"""The score of a round on one sheet: what was said, what is true, what went wrong."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from app.exports.mm_sheet import MARGIN, Sheet
from app.exports.print_sheet import Paper
from vision.hydrostatics.units import number_text, signed_text
from vision.lesson.rounds import Verdict, score


@dataclass(frozen=True)
class ScoreRow:
    """One task of a round that is over."""

    number: int
    truth: float
    answer: float
    unit: str
    words: str
    verdict: Verdict


def score_pdf(title: str, rows: Sequence[ScoreRow], causes: Iterable[str], measure: str,
              paper: Paper = "a4") -> bytes:
    """The sheet as PDF; it carries a place for a code and no name."""
    sheet = Sheet(title, "A learner's own score", paper)
    sheet.head(title, "", name=True)
    result, y = score([r.verdict for r in rows], causes), 38.0
    columns = (MARGIN, MARGIN + 16, MARGIN + 44, MARGIN + 72, MARGIN + 100)
    for x, words in zip(columns, ("Task", "You said", "True", "Error", "What it was"), strict=True):
        sheet.text(x, y, words, 9, bold=True)
    sheet.line([(MARGIN, y + 1.5), (sheet.width - MARGIN, y + 1.5)])
    for row in rows:
        y += 6.5
        cells = (str(row.number), f"{number_text(row.answer, 2)} {row.unit}",
                 f"{number_text(row.truth, 2)} {row.unit}",
                 f"{signed_text(row.verdict.error)} {measure}", row.words)
        for x, words in zip(columns, cells, strict=True):
            sheet.text(x, y, words, 9)
    y += 11
    sheet.text(MARGIN, y, f"Right: {result.right} of {result.answered}", 11, bold=True)
    if result.bias is not None and result.mean_size is not None:
        y = sheet.paragraph(
            MARGIN, y + 6, f"Bias (mean of all errors with their sign): {signed_text(result.bias)} "
            f"{measure}. Mean size of an error: {result.mean_size:.1f} {measure}.",
            sheet.width - 2 * MARGIN) + 3
    for line in result.by_cause:
        sheet.text(MARGIN, y, f"{line.cause}: laid out for {line.tasks}, caught {line.caught}", 9)
        y += 5
    return sheet.bytes()

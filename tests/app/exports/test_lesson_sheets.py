"""Lesson plan and score sheet: on the paper that was asked for, the same words as the guide."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.exports.lesson_plan import GOAL, PLAN, lesson_plan_pdf, on_paper
from app.exports.score_sheet import ScoreRow, score_pdf
from vision.lesson.rounds import FRONT_EDGE, PARALLAX_CAUSES, RIGHT, TOO_HIGH, Verdict

GUIDE = Path(__file__).resolve().parents[3] / "docs" / "educator.md"
SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1


def words(pdf: bytes, paper: str) -> str:
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    assert [float(v) / 72 * 25.4 for v in page.mediabox[2:]] == pytest.approx(SIZES_MM[paper],
                                                                             abs=0.1)
    return " ".join(page.extract_text().split())


def test_the_guide_and_the_sheet_have_one_plan():
    guide = GUIDE.read_text(encoding="utf-8")
    rows = [f"| {' | '.join(row)} |" for row in PLAN]
    assert "\n".join(rows) in guide
    assert GOAL in " ".join(guide.split())


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_plan_is_one_sheet(paper):
    text = words(lesson_plan_pdf(paper), paper)
    for minutes, what, how in PLAN:
        assert minutes in text and what in text and on_paper(how)[-40:] in text
    assert "Press “Show”, then drag the slider “Eye above or below the level” to 0" in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_score_sheet_by_hand(paper):
    rows = [ScoreRow(1, 33.0, 35.0, "mL", "Off: eye too high", Verdict(TOO_HIGH, 2.0, TOO_HIGH)),
            ScoreRow(2, 20.0, 20.0, "mL", "Right", Verdict(FRONT_EDGE, 0.0, RIGHT))]
    text = words(score_pdf("Score", rows, PARALLAX_CAUSES, "divisions", paper), paper)
    assert "Right: 1 of 2" in text and "+1.0 divisions" in text
    assert "35.00 mL 33.00 mL +2.0 divisions Off: eye too high" in text
    assert "eye too high: laid out for 1, caught 1" in text
    assert "no name" in text

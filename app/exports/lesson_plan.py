"""The lesson plan of thirty minutes: one place for page, sheet and guide."""

from __future__ import annotations

import re

from app.exports.mm_sheet import MARGIN, Sheet
from app.exports.print_sheet import Paper

GOAL = ("Each learner can say, before reading a chamber, where the eye has to be and what a wrong "
        "place does, with its direction; and can say which way a threshold moves when pole, bed "
        "or patient moves.")
#: Minutes, what, how; what stands between stars is a word on the page.
PLAN: tuple[tuple[str, str, str], ...] = (
    ("0-3", "Predict",
     "*Parallax lesson* opens with the picture from 10 cm above, a question and no "
     "numbers. Everybody writes down what the eye will read at the level. Nobody comments."),
    ("3-8", "See",
     "Press *Show*, then drag the slider *Eye above or below the level* to 0 and back: "
     "picture and numbers follow the hand. Ask: what moved, the liquid or the reading? "
     "Press *Hold the reading* at +10, 0 and −10 cm and look at the three rows. *Hide "
     "answers* asks the next question."),
    ("8-10", "Why",
     "The drawing beside the picture: the sight line to the lowest point crosses the marks"
     " above the level, or below it. From below it runs through liquid, which bends it: "
     "the error is about three quarters as large."),
    ("10-13", "What makes it worse",
     "*Bore* to 44, then 18 mm: the liquid stays at its height. Nearer and farther. "
     "*Contact angle* to 20: the edge climbs the wall, and the edge is not the reading."),
    ("13-20", "Round of ten, or a class",
     "On the page *Class* everybody on a phone, the spread on the screen. Or in pairs, one"
     " answers, the other asks why. No task can be passed by reading the front edge, the "
     "back edge or the middle of the surface as it is seen. The score says which of six "
     "errors caught them: eye too high, eye too low, read at the front edge, read through "
     "the back edge, wrong long mark, marks counted as 1 mL each."),
    ("if there is time", "Two looks",
     "*Two looks*: two sight lines up to the wall, everybody says where they cross. Then "
     "move the second eye: from nearly the same place, from lower, from below the level."),
    ("20-26", "Level",
     "*Level lesson*, with its own question first: head of the bed from 30 to 45 degrees "
     "with the system left where it hangs. Both units. The teaching model's next hour. "
     "Then: what has to be done before the bed is moved? (Close the drain; level again; "
     "open it if the order says so.)"),
    ("26-30", "Take home",
     "One sentence each on paper. Unfold the answer sheet; the set's code on it is the one"
     " on the worksheets."),
)


def on_paper(how: str) -> str:
    """A word of the page in quotes: in one run of plain letters it would be read as a part of the
    sentence."""
    return re.sub(r"\*([^*]+)\*", "\N{LEFT DOUBLE QUOTATION MARK}\\1"
                  "\N{RIGHT DOUBLE QUOTATION MARK}", how)


def lesson_plan_pdf(paper: Paper = "a4") -> bytes:
    """The plan on one sheet."""
    sheet = Sheet("Lesson plan: the eye at the meniscus, the zero at the landmark", "For educators",
                  paper)
    sheet.head("Lesson plan, thirty minutes", "", name=False)
    y = sheet.paragraph(MARGIN, 37, f"Goal: {GOAL}", sheet.width - 2 * MARGIN, 9) + 4
    left, wide = MARGIN + 60, sheet.width - 2 * MARGIN - 60
    for x, head in ((MARGIN, "Minutes"), (MARGIN + 30, "What"), (left, "How")):
        sheet.text(x, y, head, 9)
    sheet.line([(MARGIN, y + 1.5), (sheet.width - MARGIN, y + 1.5)])
    y += 7.5
    for minutes, what, how in PLAN:
        sheet.text(MARGIN, y, minutes, 9, bold=True)
        below = sheet.paragraph(MARGIN + 30, y, what, 28, 9)
        y = max(sheet.paragraph(left, y, on_paper(how), wide, 9), below) + 2.5
        sheet.line([(MARGIN, y - 3.6), (sheet.width - MARGIN, y - 3.6)])
        y += 2.5
    return sheet.bytes()

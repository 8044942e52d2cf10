"""Why two heights are better than one: three tasks, each with two looks at one chamber."""

from __future__ import annotations

from dataclasses import replace

from app.ui import blocks
from app.ui.drawing import show_drawing
from app.ui.lesson.controls import slider
from app.ui.lesson.rounds import Lesson
from app.ui.lesson.sight_drawing import value_text
from app.ui.lesson.state import LessonState
from app.ui.lesson.two_looks_drawing import two_looks_drawing
from app.ui.number import show_number
from vision.lesson.two_looks import (
    TWO_LOOKS_CAUSES,
    TwoLooks,
    angle_between_deg,
    crossing,
    judge_two_looks,
    two_looks_tasks,
)

_REACH_CM = 15.0


def _ask(state: LessonState, looks: TwoLooks) -> None:
    found = crossing(looks)
    apart = (looks.second_height_mm - looks.first.eye_height_mm) / 10
    blocks.say(f"Two looks at the lowest point of one surface. The first eye reads "
               f"{value_text(found.first.naive_value, found.first)} mL; the second, "
               f"{abs(apart):g} cm {'higher' if apart > 0 else 'lower'}, reads "
               f"{value_text(found.second.naive_value, found.second)} mL. Carry both lines on "
               "into the chamber.")
    show_drawing(two_looks_drawing(looks, solved=False))


def _show(state: LessonState, task: TwoLooks) -> None:
    height = slider(state, "Move the second eye: cm above (+) or below (\N{MINUS SIGN}) the level",
                    f"lt-second-{state.round.field_key}", -_REACH_CM, _REACH_CM,
                    task.second_height_mm / 10, 0.5)
    looks = replace(task, second_height_mm=10 * height)
    found, division = crossing(looks), task.first.division

    def between(span: tuple[float, float]) -> str:
        return f"{show_number(span[0], division)} to {show_number(span[1], division)}"

    blocks.cards(
        blocks.card("True", show_number(task.first.true_value, division), "mL"),
        blocks.card("From the first look alone", between(found.alone), "mL",
                    ["if nobody knows how far behind the marks the edge lies that is seen"]),
        blocks.card("From both looks", between(found.both), "mL",
                    [f"lines read to a tenth of a division, crossing at "
                     f"{angle_between_deg(found):.0f} degrees"], "difference"))
    show_drawing(two_looks_drawing(looks, solved=True))
    blocks.say("Everything on a sight line is seen at the same mark: the front edge of the "
               "surface, its lowest point, its back edge. Only where two lines cross is there one "
               "answer, and the wider they open, the shorter the thick bar of what is left. From "
               "nearly the same place the second look tells almost nothing; one from above and "
               "one from below tell as much as an eye at the level. Two photos do the same for "
               "the reader.")


TWO_LOOKS = Lesson(
    key="lt", causes=TWO_LOOKS_CAUSES, plan=two_looks_tasks, judge=judge_two_looks, ask=_ask,
    show=_show, truth=lambda looks: looks.first.true_value,
    label=lambda task: "Where do the lines cross: how much is in the chamber, mL?",
    unit=lambda task: "mL", bounds=(0.0, 500.0), measure="divisions",
    lead="A second look from another height is worth more than a second look from the same place. "
         "Three chambers, two sight lines each: say where they cross, then see. Nothing is kept "
         "when you leave.", name="round of three")

"""Predict, then see: the frame around a round of ten, the same for both lessons."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import streamlit as st

from app.exports.print_sheet import PAPERS
from app.exports.score_sheet import ScoreRow, score_pdf
from app.ui import blocks, theme
from app.ui.lesson.state import LessonState
from app.ui.number import decimal_field, typed_now
from app.ui.text import as_label
from vision.hydrostatics.units import number_text, signed_text
from vision.lesson.rounds import OTHER, RIGHT, Verdict, score

_COUNT = {3: "three", 5: "five", 6: "six"}


@dataclass(frozen=True)
class Lesson:
    """What a round needs to know of its lesson.

    ``ask`` draws the task without its truth, ``show`` draws the truth of a task that has
    been answered and ``truth`` says it.  ``measure`` names what one counts errors in
    ("divisions", ...), ``name`` what the round is called.
    """

    key: str
    causes: Mapping[str, str]
    plan: Callable[[int], tuple[Any, ...]]
    judge: Callable[[float, Any], Verdict]
    ask: Callable[[LessonState, Any], None]
    show: Callable[[LessonState, Any], None]
    label: Callable[[Any], str]
    unit: Callable[[Any], str]
    bounds: tuple[float, float]
    measure: str
    lead: str
    truth: Callable[[Any], float]
    name: str = "round of ten"


def round_view(state: LessonState, lesson: Lesson) -> None:
    """Draw the round for where the learner stands."""
    work = state.round
    if work.running:
        _task(state, lesson)
    elif work.finished:
        blocks.status_line(f"The round is over: {len(work.tasks)} tasks.")
        score_view(state, lesson)
        score_sheet(state, lesson)
        _begin(state, lesson, "Another round")
    else:
        blocks.say(lesson.lead)
        _begin(state, lesson, f"Begin a {lesson.name}")


def score_sheet(state: LessonState, lesson: Lesson) -> None:
    """The finished round on paper, or as a file."""
    work = state.round
    rows = [ScoreRow(n, lesson.truth(task), answer, lesson.unit(task),
                     verdict_words(verdict, lesson.causes), verdict)
            for n, (task, answer, verdict) in enumerate(
                zip(work.tasks, work.answers, work.verdicts, strict=True), start=1)]
    for column, paper in zip(st.columns(2), PAPERS, strict=True):
        column.download_button(
            as_label(f"Score sheet ({PAPERS[paper]}, PDF)"),
            partial(score_pdf, f"Score: {lesson.name}", rows, lesson.causes, lesson.measure,
                    paper),
            "score.pdf", "application/pdf", width="stretch",
            key=f"{lesson.key}-sheet-{paper}-{work.key}")


def _begin(state: LessonState, lesson: Lesson, words: str) -> None:
    st.button(as_label(words), type="primary", key=f"{lesson.key}-begin-{state.round.key}",
              width="stretch", on_click=state.round.begin, args=(lesson.plan,))


def _task(state: LessonState, lesson: Lesson) -> None:
    work = state.round
    task = work.task
    blocks.status_line(f"Task {work.index + 1} of {len(work.tasks)}. "
                       + ("See what is true." if work.shown else
                          "Your answer first; the truth comes after it."))
    left, right = st.columns(2, gap="medium")
    with left, st.container(key="lesson-asked"):
        lesson.ask(state, task)
    with right, st.container(key="lesson-told"):
        if work.shown:
            _reveal(state, lesson, task)
        else:
            _answer(state, lesson, task)
    if work.verdicts:
        with st.expander("The score so far"):
            score_view(state, lesson)


def _answer(state: LessonState, lesson: Lesson, task: Any) -> None:
    work, unit = state.round, lesson.unit(task)
    low, high = lesson.bounds
    key = f"{lesson.key}-answer-{work.field_key}"
    minus = f"{lesson.key}-minus-{work.field_key}"

    def commit() -> None:
        typed = typed_now(key, unit, low, high)
        if typed.value is None:
            work.problem = typed.problem or "Type your answer first."
            return
        value = -abs(typed.value) if st.session_state.get(minus) else typed.value
        work.commit(value, lesson.judge(value, task))

    with theme.enter_presses(key):
        decimal_field(lesson.label(task), key, unit=unit, lowest=low, highest=high)
        if low < 0:  # the number keys of some telephones have no minus
            st.checkbox("below zero (negative)", key=minus)
        st.button("Commit my answer", type="primary", width="stretch", on_click=commit,
                  key=f"{lesson.key}-commit-{work.field_key}")
    if work.problem:
        blocks.notice("Not committed yet", [work.problem], stop=True)


def _reveal(state: LessonState, lesson: Lesson, task: Any) -> None:
    work = state.round
    verdict, answer = work.verdicts[-1], work.answers[-1]
    blocks.notice(verdict_words(verdict, lesson.causes),
                  [f"You said {number_text(answer, 2)} {lesson.unit(task)}: "
                   f"{error_words(verdict.error, lesson.measure)}.",
                   lesson.causes.get(verdict.cause, ""),
                   f"This task was laid out for: {verdict.trap}." if verdict.trap else ""])
    st.button("Next task" if work.index + 1 < len(work.tasks) else "To the score",
              type="primary", key=f"{lesson.key}-next-{work.field_key}", on_click=work.go_on,
              width="stretch")
    lesson.show(state, task)


def verdict_words(verdict: Verdict, causes: Mapping[str, str]) -> str:
    """The verdict as a headline."""
    if verdict.cause == RIGHT:
        return "Right"
    if not causes:
        return "Off"
    if verdict.cause == OTHER or verdict.cause not in causes:
        return f"Off, by an error that is none of the {_COUNT.get(len(causes), 'others')}"
    return f"Off: {verdict.cause}"


def error_words(error: float, measure: str) -> str:
    """A signed error in words."""
    if abs(error) < 0.05:
        return "no error to speak of"
    return f"{number_text(abs(error))} {measure} too {'high' if error > 0 else 'low'}"


def score_view(state: LessonState, lesson: Lesson) -> None:
    """The score of the round so far, as a whole and by cause."""
    result = score(state.round.verdicts, lesson.causes)
    if not result.answered or result.bias is None or result.mean_size is None:
        return
    blocks.cards(
        blocks.card("Right", f"{result.right} of {result.answered}"),
        blocks.card("Bias", signed_text(result.bias), lesson.measure,
                    ["mean of all errors with their sign; above 0: read too high"]),
        blocks.card("Error", number_text(result.mean_size), lesson.measure,
                    ["mean size of an error"]))
    if not lesson.causes:
        return
    blocks.table(("Cause", "Tasks laid out for it", "Answers caught", "Bias there"),
                 [(line.cause, str(line.tasks), str(line.caught),
                   "\N{EN DASH}" if line.bias is None else signed_text(line.bias))
                  for line in result.by_cause])

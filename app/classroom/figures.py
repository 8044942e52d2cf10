"""What a class answered, as plots and as a table."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from app.classroom.lessons import LESSONS, tasks_of
from app.classroom.store import Answer, ClassState
from vision.drawing.plot import Plot, rows
from vision.drawing.svg import TEXT, Drawing, frame
from vision.hydrostatics.units import number_text, signed_text
from vision.lesson.rounds import OTHER, RIGHT, Verdict
from vision.spreadsheet import neutral

#: A bar is half a division wide, and no plot has more bars than this.
_BAR_DIVISIONS, _MOST_BARS = 0.5, 48
#: Room that upright words take, px.
_WORDS_PX = 14.0


def histogram(values: Sequence[float], division: float, unit: str, *, truth: float | None = None,
              wrong: Mapping[str, Sequence[float]] | None = None) -> Drawing:
    """How many said what; the true value and what each cause gives only where they are told."""
    step = _BAR_DIVISIONS * division
    marks = [truth, *(v for vs in (wrong or {}).values() for v in vs)] if truth is not None else []
    every = [*values, *(m for m in marks if m is not None)] or [0.0, 10 * division]
    # A slip of the finger must not press all others into one bar.
    middle = truth if truth is not None else float(np.median(every))
    reach = max(6 * division, min(1.05 * max(abs(v - middle) for v in every), 20 * division))
    low, high = middle - reach, middle + reach
    step *= max(1, math.ceil((high - low) / step / _MOST_BARS))
    edges = np.arange(math.floor(low / step) * step, high + step, step) - step / 2
    inside = np.clip(np.asarray(values, dtype=float), edges[0], edges[-1] - 1e-9)
    counts, _ = np.histogram(inside, edges)
    top = max(4, int(counts.max(initial=0)) + 1)
    plot = Plot((float(edges[0]), float(edges[-1])), (0.0, float(top)), width=560.0, height=300.0,
                margins=(36.0, 56.0, 16.0, 46.0), text=TEXT)
    plot.parts.append(frame(*plot.size))
    plot.words(12, 22, f"{len(values)} answers", weight=650)
    plot.y_axis(range(0, top + 1, max(1, top // 5)))
    plot.x_axis(unit)
    for count, a, b in zip(counts, edges, edges[1:], strict=False):
        if count:
            plot.area((float(a), float(b)), (0.0, float(count)), fill="currentColor",
                      fill_opacity=0.35, stroke_width=1.2)
    said = f"{len(values)} answers"
    if truth is not None:
        free = -math.inf
        for at, name in sorted((at, name) for name, places in (wrong or {}).items()
                               for at in places if low <= at <= high):
            plot.rule(at, across="x", dash="2 5", width=1.2)
            # Causes that give nearly the same keep their words apart.
            x = max(plot.x(at) + 4, free)
            plot.parts.append(_upright(x, plot.box[1] + 4, name))
            free = x + _WORDS_PX
        plot.rule(truth, across="x", dash="", width=3.0)
        plot.words(plot.x(truth), 44, f"true {number_text(truth, 1 if division >= 1 else 2)}",
                   "middle", weight=650)
        said += f", true {number_text(truth, 2)} {unit}"
    return plot.drawing(f"Histogram of what the class predicts: {said}.")


def _upright(x: float, y: float, text: str):  # type: ignore[no-untyped-def]
    from vision.drawing.svg import words

    return words(0, 0, text, size=12, transform=f"translate({x:.1f} {y:.1f}) rotate(90)",
                 opacity=0.85)


def verdicts(state: ClassState, answers: Sequence[Answer]) -> list[tuple[Answer, Verdict]]:
    """Every answer with what became of it."""
    lesson, tasks = LESSONS[state.kind], tasks_of(state.kind, state.seed, state.tasks)
    return [(a, lesson.judge(a.value, tasks[a.task])) for a in answers]


def errors_by_task(state: ClassState, answers: Sequence[Answer]) -> Drawing:
    """Every answer's error as a ring, the class's mean as a bar with its spread."""
    judged, measure = verdicts(state, answers), LESSONS[state.kind].measure
    errors = [v.error for _, v in judged] or [0.0]
    reach = min(max(2.0, 1.1 * max(map(abs, errors))), 12.0)
    plot = Plot((0.4, state.tasks + 0.6), (-reach, reach), width=560.0, height=300.0,
                margins=(44.0, 34.0, 16.0, 46.0), text=TEXT)
    plot.parts.append(frame(*plot.size))
    plot.words(12, 22, f"error in {measure}: every answer; bar: mean and standard deviation",
               weight=650)
    plot.y_axis(most=7)
    plot.x_axis("task", most=state.tasks)
    plot.rule(0.0, dash="", width=1.6)
    said = []
    for task in range(state.tasks):
        own = [v.error for a, v in judged if a.task == task]
        plot.marks([(task + 1 + _beside(k), max(-reach, min(reach, e)))
                    for k, e in enumerate(sorted(own))], "ring", size=3.5, opacity=0.6)
        if own:
            mean, spread = float(np.mean(own)), float(np.std(own, ddof=min(1, len(own) - 1)))
            plot.whisker(task + 1.32, mean - spread, mean + spread)
            plot.marks([(task + 1.32, mean)], "square", size=4.5)
            said.append(f"task {task + 1}: bias {signed_text(mean)}, spread {spread:.1f}")
    return plot.drawing(f"Errors of the class in {measure}; {'; '.join(said) or 'no answer yet'}.")


def _beside(k: int) -> float:
    """Rings side by side, so that equal answers are seen."""
    return (k % 9 - 4) * 0.05 - 0.06


def causes(state: ClassState, answers: Sequence[Answer]) -> Drawing:
    """How many answers were right, and which cause caught how many."""
    counted = Counter(v.cause for _, v in verdicts(state, answers))
    names = [RIGHT, *LESSONS[state.kind].causes, OTHER]
    most = max([*counted.values(), 1])
    plot = rows((0.0, 1.15 * most), names, left=220.0, step=26.0, top=38.0, bottom=10.0, text=TEXT)
    plot.parts.append(frame(*plot.size))
    plot.words(12, 22, "what became of the answers", weight=650)
    for k, name in enumerate(names):
        if counted[name]:
            plot.area((0.0, float(counted[name])), (k - 0.3, k + 0.3), fill="currentColor",
                      fill_opacity=0.8 if name == RIGHT else 0.4, stroke="none")
        plot.words(plot.x(counted[name]) + 7, plot.y(k) + 5, str(counted[name]))
    return plot.drawing("; ".join(f"{name}: {counted[name]}" for name in names))


def answers_csv(state: ClassState, answers: Sequence[Answer]) -> str:
    """The answers as a table; learners are numbered anew in each, in no order of joining."""
    lesson, tasks = LESSONS[state.kind], tasks_of(state.kind, state.seed, state.tasks)
    numbers = {name: n for n, name in enumerate(sorted({a.learner for a in answers}), start=1)}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["task", "laid_out_for", "unit", "division", "true_value", "learner", "answer",
                     "error_divisions", "cause"])
    for a, v in verdicts(state, answers):
        task = tasks[a.task]
        writer.writerow([a.task + 1, neutral(v.trap), lesson.unit(task),
                         f"{lesson.division(task):g}", f"{lesson.truth(task):.3f}",
                         numbers[a.learner], f"{a.value:g}", f"{v.error:.3f}", neutral(v.cause)])
    return out.getvalue()

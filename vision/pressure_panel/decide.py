"""Last stage: is it read, or why not.  All evidence in, one reading out.

When nothing is read stands in one table; the first line that holds is the reason.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.flags import describe
from vision.imaging.quality import measure_quality, quality_flags
from vision.parameters import USELESS_DIVISIONS
from vision.pressure_panel.evidence import PanelEvidence
from vision.pressure_panel.number import Open
from vision.pressure_panel.result import SettingReading
from vision.reading import Annotation, Question

_ASK = "Tap one printed mark and type its value."


@dataclass(frozen=True)
class Refusal:
    """One reason not to read: a flag of ``vision.flags``, when it holds, and the question
    ("" for none) that would settle it.  ``{typed:g}`` stands for the value that was typed."""

    flag: str
    holds: Callable[[PanelEvidence], bool]
    question: str = ""


def _open(verdict: Open) -> Callable[[PanelEvidence], bool]:
    return lambda e: e.numbering is not None and e.numbering.verdict == verdict


def _unit_unproven(e: PanelEvidence) -> bool:
    """Without the ends, a row in the other unit with the same numbers looks alike."""
    assert e.rows is not None and e.numbering is not None
    return not (e.rows.unit_shown or e.numbering.ladder.ends_seen)


NOT_READ: tuple[Refusal, ...] = (
    Refusal("scale-not-found", lambda e: e.rows is None),
    Refusal("wrong-scale", _open("typed-nowhere"),
            "No numbering of the chosen scale gives the tapped mark {typed:g}. Check the scale; "
            "tap a mark and type its value."),
    Refusal("numerals-disagree", _open("contradicted"), _ASK),
    Refusal("wrong-scale", _open("another-scale"), _ASK),
    Refusal("numbering-unsettled", _open("unsettled"), _ASK),
    Refusal("scale-cut-off", _unit_unproven),
    Refusal("pointer-off-scale", lambda e: e.estimate is not None and not e.estimate.on_scale),
    Refusal("few-pixels", lambda e: e.estimate is not None and e.estimate.half_width
            > USELESS_DIVISIONS * e.scale.smallest_division),
)
#: What a person should know of how the numbering was settled.
_REMARKS = {"typed": ("number-given",), "count": ("numerals-unread",)}


def decide(evidence: PanelEvidence) -> SettingReading:
    """The reading that the evidence of one photo allows.

    Parameters
    ----------
    evidence : PanelEvidence
        From :func:`vision.pressure_panel.evidence.gather`.

    Returns
    -------
    SettingReading
        With ``value`` and ``interval`` only where ``status`` is "read"; its ``flags`` and
        ``reasons`` go in pairs.
    """
    refusal = next((r for r in NOT_READ if r.holds(evidence)), None)
    scale, rows, numbering = evidence.scale, evidence.rows, evidence.numbering
    flags: list[str] = []
    question = None
    if numbering is not None:
        flags += _REMARKS.get(numbering.verdict, ())
    if refusal is not None:
        flags.append(refusal.flag)
        if refusal.question:
            typed = None if numbering is None else numbering.typed
            question = Question("number", refusal.question.format(typed=typed))
    if rows is None:
        flags += quality_flags(measure_quality(evidence.photo.working_gray))
    e = evidence.estimate if refusal is None else None
    return SettingReading(
        status="refused" if e is None else "read", unit=scale.unit, scale=scale.name,
        division=scale.smallest_division, value=None if e is None else e.value,
        interval=None if e is None else (e.value - e.half_width, e.value + e.half_width),
        surface_px=evidence.pointer_px, flags=tuple(flags),
        reasons=tuple(describe(flag).sentence for flag in flags),
        budget=() if e is None else e.budget,
        question=question,
        strategy="" if rows is None else rows.strategy,
        annotations=(*mark_annotations(evidence), *([] if e is None else [Annotation(
            "reading", evidence.photo.to_full(e.line_px), f"{e.value:.1f}")])))


def mark_annotations(evidence: PanelEvidence) -> list[Annotation]:
    """Every mark found, with its value where the print has one."""
    if evidence.numbering is None:
        return []
    ladder = evidence.numbering.ladder
    ends = evidence.photo.to_full(np.stack([ladder.left_px, ladder.right_px], axis=1))
    marks = [ladder.scale.marks[i] for i in ladder.mark]
    return [Annotation("mark-long" if m.length == "long" else "mark-short", line,
                       m.text if m.label else "") for m, line in zip(marks, ends, strict=True)]

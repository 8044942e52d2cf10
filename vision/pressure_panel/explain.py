"""One picture a stage: why the setting is what it says.

Marks found; the numbering with its rivals; the pointer's line to the marks; the budget.  For
contributors, testers and educators.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.drawing.sheet import budget_sheet, picture_sheet
from vision.pressure_panel.decide import decide, mark_annotations
from vision.pressure_panel.evidence import PanelEvidence
from vision.reading import Annotation
from vision.volume.overlay import draw_overlay

_TALL_PX = 900
_VERDICTS = {
    "typed": "settled by the value typed for one mark",
    "numerals": "settled by the printed numbers",
    "count": "settled by the count of marks; the printed numbers were not read",
    "typed-nowhere": "open: the value typed fits no numbering",
    "contradicted": "open: the printed numbers fit no numbering",
    "another-scale": "open: the marks are those of another scale",
    "unsettled": "open: neither numbers nor count prove one",
}


def explain_setting(evidence: PanelEvidence) -> dict[str, np.ndarray]:
    """Pictures of the stages, as far as the photo went through them.

    Returns
    -------
    dict of str to (H, W, 3) uint8 array
        "1-marks", "2-numbering", "3-pointer" and "4-budget"; RGB.
    """
    pictures = {"1-marks": _marks(evidence)}
    if evidence.numbering is not None:
        pictures["2-numbering"] = _numbering(evidence)
    if evidence.estimate is not None:
        pictures["3-pointer"] = _pointer(evidence)
        pictures["4-budget"] = _budget(evidence)
    return pictures


def _marks(evidence: PanelEvidence) -> np.ndarray:
    """The strokes taken for the scale's marks."""
    rows = evidence.rows
    bare = [replace(a, text="") for a in mark_annotations(evidence)]
    lines = ["No row of marks near the pointer could be this scale."]
    if rows is not None:
        best = rows.ways[0]
        lines = [f"row found as: {rows.strategy}",
                 f"{len(best.mark)} of {len(best.scale.marks)} marks, {best.missed} missing in"
                 f" between, {best.unmatched_marks} strokes that are none",
                 "a row in the other unit beside it shows the unit" if rows.unit_shown
                 else "no row in the other unit beside it"]
    return _drawn(evidence, "Where the marks are", bare, lines)


def _numbering(evidence: PanelEvidence) -> np.ndarray:
    """Values at the labelled marks, and how far the other numberings are behind."""
    assert evidence.rows is not None and evidence.numbering is not None
    ladder, ways = evidence.numbering.ladder, evidence.rows.ways
    lines = [_VERDICTS[evidence.numbering.verdict]]
    for way in ways[:8]:
        low, high = (way.scale.marks[i].value for i in (way.mark.min(), way.mark.max()))
        lines.append(f"{'this one' if way is ladder else 'rival'}: marks {low:g} to {high:g},"
                     f" log-likelihood of count and lengths {way.score:.1f} nats")
    marks = mark_annotations(evidence)
    beside = [Annotation("numeral", m.points_px[1] + np.array([[0.0, 0], [1.5, 0]])
                         * np.ptp(m.points_px[:, 0]), m.text) for m in marks if m.text]
    return _drawn(evidence, "Which mark has which value", marks + beside, lines)


def _pointer(evidence: PanelEvidence) -> np.ndarray:
    """The line from the pointer across to the marks."""
    assert evidence.estimate is not None
    reading = decide(evidence)
    lines = [f"at the pointer: {evidence.estimate.value:.2f} {evidence.scale.unit}",
             *reading.reasons]
    return _drawn(evidence, "Where the pointer is", list(reading.annotations), lines)


def _budget(evidence: PanelEvidence) -> np.ndarray:
    assert evidence.estimate is not None
    reading = decide(evidence)
    said = "no value is given: " + "; ".join(reading.reasons)
    if reading.interval is not None:
        said = (f"95 % interval: {reading.interval[0]:.2f} to {reading.interval[1]:.2f}"
                f" {reading.unit}")
    return budget_sheet("How sure", evidence.estimate.budget, [said])


def _drawn(evidence: PanelEvidence, title: str, annotations: list[Annotation],
           lines: list[str]) -> np.ndarray:
    seen = draw_overlay(evidence.photo, replace(decide(evidence), annotations=tuple(annotations)),
                        tall_px=_TALL_PX)
    return picture_sheet(title, seen, lines)

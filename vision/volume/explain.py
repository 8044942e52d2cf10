"""One picture a stage: why the reader says what it says.

Rows found in the photo; the numbering with its evidence; the surface's probability beside
the unrolled wall; the budget.  For contributors, testers and educators.
"""

from __future__ import annotations

import cv2
import numpy as np
from PIL import Image

from vision.drawing.sheet import (
    AMBER,
    FAINT,
    INK,
    LINE_PX,
    PLUM,
    TEAL,
    TITLE_PX,
    budget_sheet,
    font,
    picture_sheet,
    sheet,
    write_lines,
)
from vision.meniscus_image.unroll import view
from vision.meniscus_image.views import whole_grid
from vision.reading import VolumeReading
from vision.volume.decide import decide
from vision.volume.evidence import PhotoEvidence
from vision.volume.overlay import draw_overlay

_TALL = 900


def explain(evidence: PhotoEvidence) -> dict[str, np.ndarray]:
    """Pictures of the stages, as far as the photo went through them.

    Returns
    -------
    dict of str to (H, W, 3) uint8 array
        "1-marks", "2-numbering", "3-surface" and "4-budget"; RGB.
    """
    reading = decide(evidence)
    pictures = {"1-marks": _marks(evidence, reading)}
    if evidence.numbering is not None:
        pictures["2-numbering"] = _numbering(evidence)
    if evidence.meniscus is not None:
        pictures["3-surface"] = _surface(evidence)
    if evidence.level is not None:
        pictures["4-budget"] = _budget(evidence, reading)
    return pictures


def _marks(evidence: PhotoEvidence, reading: VolumeReading) -> np.ndarray:
    """The whole photo with every mark that was found, and how the row was come by."""
    seen = draw_overlay(evidence.photo, reading, crop=False, tall_px=_TALL)
    fit = evidence.located
    lines = ["No row of marks fits the scale."] if fit is None else [
        f"row found in: {fit.strategy}",
        f"{int(fit.seen.sum())} of {len(fit.seen)} marks, {fit.pitch_px:.1f} px apart,"
        f" misfit {100 * fit.relative_residual:.1f} % of that",
        f"camera {fit.pose.params[0]:.0f} mm from the axis, focal length"
        f" {'as the photo says' if fit.focal_known else 'not stated'}",
        f"rows beside the chamber: {len(fit.beside_px)}"
        f"{'; another row may be the scale' if fit.elsewhere_px else ''}"]
    return picture_sheet("Where the marks are", seen, lines)


def _numbering(evidence: PhotoEvidence) -> np.ndarray:
    """Log-likelihood of each shift of the numbering, and what was read beside the marks."""
    numbering = evidence.numbering
    assert numbering is not None
    e, check, scale = numbering.fit.evidence, numbering.check, evidence.scale
    best = e.log_likelihood.max()
    shown = [(int(k), float(v - best)) for k, v in zip(e.shifts, e.log_likelihood, strict=True)
             if v > best - 60.0][:25]
    labels = () if check is None else check.labels
    said = "settled" if type(numbering).__name__ == "NumberedScale" else "not settled"
    lines = [f"{said} {', '.join(numbering.flags)}".strip()]
    if check is not None:
        lines += [f"numbers: {check.verdict}, log-odds {check.log_odds:.1f}; both ends seen:"
                  f" {'yes' if check.count_complete else 'no'}; marks beyond the ends:"
                  f" {check.unmatched_marks}"]
        lines += [f"  beside mark {scale.marks[i].text or f'{scale.marks[i].value:g}'}: "
                  f"{f'read {text!r}' if text else 'nothing read'} ({sure:.2f})"
                  for i, text, sure in labels]
    canvas, draw = sheet(900, "Which mark has which value", 40 + LINE_PX * (
        len(shown) + len(lines) + 1))
    y = TITLE_PX
    write_lines(draw, 12, y, [
        "marks moved by: log-likelihood of count and lengths, nats below the best"])
    for shift, below in shown:
        y += LINE_PX
        colour = TEAL if shift == 0 else FAINT
        draw.text((150, y), f"{shift:+d}", font=font(16), fill=INK, anchor="ra")
        draw.rectangle((160, y + 2, 160 + max(2.0, 600 * (1 + below / 60.0)), y + 18), fill=colour)
        draw.text((780, y), f"{below:.1f}", font=font(16), fill=INK)
    write_lines(draw, 12, y + 1.5 * LINE_PX, lines)
    return np.asarray(canvas)


def _surface(evidence: PhotoEvidence) -> np.ndarray:
    """The wall unrolled, and beside it the probability of the level over the same heights."""
    fit, meniscus, scale = evidence.fit, evidence.meniscus, evidence.scale
    assert fit is not None and fit.picture is not None and meniscus is not None
    grid = whole_grid(scale.lowest_mark.height_mm, scale.highest_mark.height_mm)
    wall = view(fit.picture.rgb, fit.pose, grid,
                fit.pose.px_per_mm(float(np.median(fit.height_mm))))
    wall = np.nan_to_num(wall, nan=255.0).clip(0, 255).astype(np.uint8)
    wide = max(200, round(_TALL * wall.shape[1] / wall.shape[0]))
    wall = np.asarray(cv2.resize(wall, (wide, _TALL), interpolation=cv2.INTER_AREA))
    canvas, draw = sheet(wide + 620, "Where the surface is", _TALL + 20)
    canvas.paste(Image.fromarray(wall), (0, TITLE_PX))

    def row(height_mm: float) -> float:
        return TITLE_PX + (grid.top_mm - height_mm) / (grid.step_mm * grid.rows) * _TALL

    for mark in (m for m in scale.marks if m.label):
        y = row(mark.height_mm)
        draw.line((wide, y, wide + 8, y), fill=INK)
        draw.text((wide + 12, y), mark.text, font=font(15), fill=INK, anchor="lm")
    tall = meniscus.offset_probability / max(float(meniscus.offset_probability.max()), 1e-12)
    for height, share in zip(meniscus.possible_mm, tall, strict=True):
        draw.line((wide + 60, row(height), wide + 60 + 300 * share, row(height)), fill=TEAL,
                  width=2)
    for candidate in meniscus.candidates:
        y = row(candidate.height_mm)
        draw.line((0, y, wide, y), fill=AMBER, width=1)
        draw.text((wide + 380, y), f"edge here: {100 * candidate.weight:.1f} %", font=font(15),
                  fill=AMBER, anchor="lm")
    if evidence.level is not None and meniscus.candidates:
        low, high = evidence.level.interval_mm
        y = row(evidence.level.level_mm)
        draw.rectangle((wide + 52, row(high), wide + 57, row(low)), fill=PLUM)
        draw.line((0, y, wide + 370, y), fill=PLUM, width=2)
        draw.text((wide + 380, y + 22), f"lowest plane {evidence.level.value:.2f} {scale.unit}",
                  font=font(18), fill=PLUM, anchor="lm")
    draw.text((wide + 380, TITLE_PX + 10), f"no surface in sight: {100 * meniscus.p_absent:.1f} %",
              font=font(15), fill=INK)
    return np.asarray(canvas)


def _budget(evidence: PhotoEvidence, reading: VolumeReading) -> np.ndarray:
    """Every term of the budget as a bar, then the combination and the interval."""
    level = evidence.level
    assert level is not None
    said = "no value is given: " + "; ".join(reading.reasons)
    if reading.interval is not None:
        said = (f"95 % interval, laws convolved (JCGM 101): {reading.interval[0]:.2f} to "
                f"{reading.interval[1]:.2f} {reading.unit}")
    return budget_sheet("How sure", level.budget, [said])

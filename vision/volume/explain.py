"""One picture a stage: why the reader says what it says.

Rows found in the photo; the numbering with its evidence; the surface's probability beside
the unrolled wall; the budget.  For contributors, testers and educators.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.budget import combined_standard_uncertainty
from vision.meniscus_image.unroll import view
from vision.meniscus_image.views import whole_grid
from vision.reading import VolumeReading
from vision.volume.decide import decide
from vision.volume.evidence import PhotoEvidence
from vision.volume.overlay import draw_overlay

_INK, _PAPER, _FAINT = (24, 30, 38), (250, 248, 240), (205, 203, 194)
_TEAL, _PLUM, _AMBER = (0, 120, 130), (176, 26, 96), (206, 120, 10)
_TALL, _LINE = 900, 26
_FIRST = 60


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
    canvas, draw = _sheet(max(seen.shape[1], 760), "Where the marks are", seen.shape[0] + 20
                          + _LINE * len(lines))
    canvas.paste(Image.fromarray(seen), (0, _FIRST))
    _text(draw, 12, _FIRST + seen.shape[0] + 8, lines)
    return np.asarray(canvas)


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
    canvas, draw = _sheet(900, "Which mark has which value", 40 + _LINE * (
        len(shown) + len(lines) + 1))
    y = _FIRST
    _text(draw, 12, y, ["marks moved by: log-likelihood of count and lengths, nats below the best"])
    for shift, below in shown:
        y += _LINE
        colour = _TEAL if shift == 0 else _FAINT
        draw.text((150, y), f"{shift:+d}", font=_font(16), fill=_INK, anchor="ra")
        draw.rectangle((160, y + 2, 160 + max(2.0, 600 * (1 + below / 60.0)), y + 18), fill=colour)
        draw.text((780, y), f"{below:.1f}", font=_font(16), fill=_INK)
    _text(draw, 12, y + 1.5 * _LINE, lines)
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
    canvas, draw = _sheet(wide + 620, "Where the surface is", _TALL + 20)
    canvas.paste(Image.fromarray(wall), (0, _FIRST))

    def row(height_mm: float) -> float:
        return _FIRST + (grid.top_mm - height_mm) / (grid.step_mm * grid.rows) * _TALL

    for mark in (m for m in scale.marks if m.label):
        y = row(mark.height_mm)
        draw.line((wide, y, wide + 8, y), fill=_INK)
        draw.text((wide + 12, y), mark.text, font=_font(15), fill=_INK, anchor="lm")
    tall = meniscus.offset_probability / max(float(meniscus.offset_probability.max()), 1e-12)
    for height, share in zip(meniscus.possible_mm, tall, strict=True):
        draw.line((wide + 60, row(height), wide + 60 + 300 * share, row(height)), fill=_TEAL,
                  width=2)
    for candidate in meniscus.candidates:
        y = row(candidate.height_mm)
        draw.line((0, y, wide, y), fill=_AMBER, width=1)
        draw.text((wide + 380, y), f"edge here: {100 * candidate.weight:.1f} %", font=_font(15),
                  fill=_AMBER, anchor="lm")
    if evidence.level is not None and meniscus.candidates:
        low, high = evidence.level.interval_mm
        y = row(evidence.level.level_mm)
        draw.rectangle((wide + 52, row(high), wide + 57, row(low)), fill=_PLUM)
        draw.line((0, y, wide + 370, y), fill=_PLUM, width=2)
        draw.text((wide + 380, y + 22), f"lowest plane {evidence.level.value:.2f} {scale.unit}",
                  font=_font(18), fill=_PLUM, anchor="lm")
    draw.text((wide + 380, _FIRST + 10), f"no surface in sight: {100 * meniscus.p_absent:.1f} %",
              font=_font(15), fill=_INK)
    return np.asarray(canvas)


def _budget(evidence: PhotoEvidence, reading: VolumeReading) -> np.ndarray:
    """Every term of the budget as a bar, then the combination and the interval."""
    level = evidence.level
    assert level is not None
    largest = max((t.standard_uncertainty for t in level.budget), default=1.0) or 1.0
    canvas, draw = _sheet(1000, "How sure", 60 + 2 * _LINE * (len(level.budget) + 2))
    y = float(_FIRST)
    for term in sorted(level.budget, key=lambda t: -t.standard_uncertainty):
        draw.text((12, y), f"{term.term}: {term.standard_uncertainty:.3f} {term.unit}",
                  font=_font(17), fill=_INK)
        draw.text((988, y), term.note, font=_font(14), fill=_INK, anchor="ra")
        draw.rectangle((12, y + 22, 12 + 976 * term.standard_uncertainty / largest, y + 32),
                       fill=_TEAL)
        y += 2 * _LINE
    lines = [f"combined standard uncertainty (JCGM 100): "
             f"{combined_standard_uncertainty(level.budget):.3f} {evidence.scale.unit}"]
    if reading.interval is not None:
        lines += [f"95 % interval, laws convolved (JCGM 101): {reading.interval[0]:.2f} to "
                  f"{reading.interval[1]:.2f} {reading.unit}"]
    else:
        lines += ["no value is given: " + "; ".join(reading.reasons)]
    _text(draw, 12, y + 6, lines)
    return np.asarray(canvas)


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size=size)


def _sheet(wide: int, title: str, tall: int) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    canvas = Image.new("RGB", (wide, _FIRST + tall), _PAPER)
    draw = ImageDraw.Draw(canvas)
    draw.text((12, 14), title, font=_font(26), fill=_INK)
    return canvas, draw


def _text(draw: ImageDraw.ImageDraw, x: float, y: float, lines: list[str]) -> None:
    for n, line in enumerate(_wrapped(lines)):
        draw.text((x, y + _LINE * n), line, font=_font(16), fill=_INK)


def _wrapped(lines: list[str], most: int = 110) -> Iterator[str]:
    for line in lines:
        while len(line) > most:
            cut = max(line.rfind(" ", 0, most), 1)
            yield line[:cut]
            line = "    " + line[cut:].lstrip()
        yield line

"""Numbers printed over marks that run right round the tube, read with the rings left in place.

The reader of digits was taught among rings (``vision/training/numeral_rings.py``), and taking them
out takes strokes of the digits with them.  Where such marks all look alike nothing but the numbers
says which is which.  So every mark is asked: what stands over it is read, each numbering is judged
by the marks that would carry a number under it, and whether a number belongs to this mark or to
its neighbour is told by where its middle lies: it is printed level with its mark (common practice,
no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.numbered_by_shift import possible_shifts, text_by_shift
from vision.graduations.numeral_reader import (
    HALF_PATCH_MM,
    LABELS_PER_DOUBT,
    SETTLED_MARGIN,
    SURE,
    digits_by_column,
    parts_of_longer,
    read_numerals,
)
from vision.graduations.numerals_in_rings import wall_about
from vision.graduations.spacing import main_run
from vision.graduations.unrolled_samples import sample
from vision.parameters import A_MARK_BESIDE

#: How far either side of the middle of the numbers a patch reaches, and over how much of the wall
#: digits are gathered to find that middle, mm.
_REACH_MM, _NUMBER_MM = 6.5, 5.0
#: So many marks are looked at to find the middle, and so many places with digits are tried.
_LOOKED_AT, _PLACES = 36, 2
#: Numbers that agree, at least: one more than where they stand beside their marks.
_AGREEING = 3
#: Steps (in gaps between marks) by which numbers are looked for above and below their marks, how
#: far, and how many of them.
_STEP, _FARTHEST, _MOST_LABELS = 0.25, 1.25, 8
#: What is read this much less well, as a share of the best, is out of the patch.
_HALF_AS_WELL = 0.5


@dataclass(frozen=True)
class NumbersAmongRings:
    """``shift`` is the numbering that they prove, ``log_odds`` its lead (nats) over every other
    that is more than a mark away, ``readable`` how many numbers agree, ``side`` where they stand
    (-1 left, 1 right of the middle), ``labels`` what was read at the marks that carry them: index
    of the mark under the present numbering, text, confidence."""

    shift: int
    log_odds: float
    readable: int
    side: int
    labels: tuple[tuple[int, str, float], ...]


def numbers_among_rings(fit: GraduationFit, texts: Sequence[str]) -> NumbersAmongRings | None:
    """Which numbering is proved by the numbers among rings; None where none is.

    ``texts`` are the numbers of the scale.  None as well where the marks do not run round.
    """
    run = main_run(fit.scale)
    if not fit.runs_round("long") or len(run) < 2 * _AGREEING:
        return None
    wall = _unrolled(fit, run)
    first = max(0, (len(run) - _LOOKED_AT) // 2)
    middle = fit.height_mm[run[first:first + _LOOKED_AT]]
    for column in _columns_of_digits(wall, middle):
        found = _proved(fit, run, wall, column, list(texts))
        if found is not None:
            return found
    return None


@dataclass(frozen=True)
class _Wall:
    """The wall along all marks, unrolled: ``grey`` (rows, columns), NaN outside the photo;
    ``top_mm`` the height of its first row; ``azimuth`` (columns,) rad."""

    grey: np.ndarray
    top_mm: float
    azimuth: np.ndarray
    px_mm: float

    def patches(self, height_mm: np.ndarray, column: int | None) -> list[np.ndarray | None]:
        """What stands about heights (N,), right across or about a column; None where some of it
        is not in the photo."""
        half, reach = round(HALF_PATCH_MM * self.px_mm), round(_REACH_MM * self.px_mm)
        left, right = 0, self.grey.shape[1]
        if column is not None:
            left, right = max(0, column - reach), min(right, column + reach)
        out: list[np.ndarray | None] = []
        for z in height_mm:
            row = round((self.top_mm - float(z)) * self.px_mm)
            patch = self.grey[max(row - half, 0):row + half, left:right]
            whole = len(patch) == 2 * half and bool(np.isfinite(patch).all())
            out.append(patch if whole else None)
        return out


def _unrolled(fit: GraduationFit, run: np.ndarray) -> _Wall:
    height = fit.height_mm[run]
    px_mm, azimuth, _ = wall_about(fit, height, HALF_PATCH_MM)
    room = HALF_PATCH_MM + _FARTHEST * abs(fit.evidence.step_mm) + 1.0
    z = np.arange(float(height.max()) + room, float(height.min()) - room, -1.0 / px_mm)
    grey = sample(fit.grey, fit.pose.project_wall(azimuth, z))
    return _Wall(grey, float(z[0]), azimuth, px_mm)


def _columns_of_digits(wall: _Wall, height_mm: np.ndarray) -> list[int]:
    """Columns about which digits stand at many marks, those with most first."""
    from scipy.ndimage import uniform_filter1d

    columns = wall.grey.shape[1]
    digits = np.zeros(columns)
    for said in digits_by_column(wall.patches(height_mm, None)):
        if said is not None:
            at = (np.arange(len(said)) + 0.5) * columns / len(said)
            digits += np.interp(np.arange(columns), at, said)
    smooth = uniform_filter1d(digits, max(1, round(_NUMBER_MM * wall.px_mm)), mode="constant")
    found: list[int] = []
    for _ in range(_PLACES):
        best = int(smooth.argmax())
        if smooth[best] <= 0.0:
            break
        found.append(best)
        near = round(_REACH_MM * wall.px_mm)
        smooth[max(0, best - near):best + near + 1] = 0.0
    return found


def _proved(fit: GraduationFit, run: np.ndarray, wall: _Wall, column: int, texts: list[str]
            ) -> NumbersAmongRings | None:
    """What the numbers about a column prove."""
    height = fit.height_mm[run]
    evidence = read_numerals(wall.patches(height, column), [texts] * len(run))
    shifts = possible_shifts(fit)
    expected = {k: [text_by_shift(fit, run, int(mark), k) for mark in run] for k in shifts}
    total = {k: sum(p.scores[t] for p, t in zip(evidence.patches, expected[k], strict=True) if t)
             for k in shifts}
    best = max(shifts, key=lambda k: total[k])
    farther = [total[k] for k in shifts if abs(k - best) > 1]
    log_odds = total[best] - max([0.0, *farther])
    agreeing = list(evidence.agreeing(expected[best]))
    seen = [str(expected[best][i]) for i in agreeing]
    against = sum(p.confidence >= SURE and p.scores[t] < 0.0 and not _fits_in_part(p.text, t)
                  for p, t in zip(evidence.patches, expected[best], strict=True) if t)
    if (log_odds < SETTLED_MARGIN or len(set(seen)) < _AGREEING
            or LABELS_PER_DOUBT * against > len(agreeing)):
        return None
    if any(parts_of_longer(expected[best], expected[k], agreeing) for k in shifts if k != best):
        return None
    if not _level(wall, column, height[agreeing], seen, abs(fit.evidence.step_mm)):
        return None
    labels = tuple((int(run[i]), p.text, p.confidence)
                   for i, p in enumerate(evidence.patches) if expected[best][i])
    side = -1 if wall.azimuth[column] < 0 else 1
    return NumbersAmongRings(best, log_odds, len(agreeing), side, labels)


def _fits_in_part(read: str, expected: str) -> bool:
    """Whether what was read is a part of what is expected: a ring or a highlight hides the rest,
    and a point is too small to be seen."""
    return bool(read) and read.replace(".", "") in expected.replace(".", "")


def _level(wall: _Wall, column: int, height_mm: np.ndarray, texts: list[str], step_mm: float
           ) -> bool:
    """Whether the numbers stand level with these marks rather than with their neighbours.

    A patch shows a number as long as it is not cut above or below: the middle of all
    places from which it is read is its own.
    """
    if len(texts) > _MOST_LABELS:
        some = np.unique(np.linspace(0, len(texts) - 1, _MOST_LABELS).round().astype(int))
        height_mm, texts = height_mm[some], [texts[i] for i in some]
    away = np.arange(-_FARTHEST, _FARTHEST + 0.5 * _STEP, _STEP)
    patches = [p for a in away for p in wall.patches(height_mm + a * step_mm, column)]
    evidence = read_numerals(patches, [[t] for _ in away for t in texts])
    score = np.array([p.scores[t] for p, t in zip(
        evidence.patches, [t for _ in away for t in texts], strict=True)])
    score = score.reshape(len(away), len(texts)).sum(axis=1)
    above = np.maximum(score - _HALF_AS_WELL * float(score.max()), 0.0)
    if above.sum() <= 0.0:
        return False
    return abs(float(above @ away) / float(above.sum())) < A_MARK_BESIDE

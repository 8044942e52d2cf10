"""The printed numerals against the count of marks.

Beside every labelled mark a patch of the unrolled wall is cut out, on both sides;
what the numerals say is summed for every possible shift of the numbering.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.number_places import numbers_from_rad
from vision.graduations.numbered_by_shift import possible_shifts, text_by_shift
from vision.graduations.numbers_among_rings import NumbersAmongRings, numbers_among_rings
from vision.graduations.numeral_reader import (
    AGREES,
    DOUBTS,
    HALF_PATCH_MM,
    SETTLED_LABELS,
    SETTLED_MARGIN,
    SURE,
    NumberingVerdict,
    NumeralEvidence,
    read_numerals,
    settle_numbering,
)
from vision.graduations.numerals_across_rings import patches_across_rings
from vision.graduations.numerals_in_rings import patches_in_rings
from vision.graduations.rings_wiped import wiped
from vision.graduations.shift_likelihood import most_alike
from vision.graduations.spacing import lattice_heights, main_run
from vision.graduations.unrolled_samples import sample, sample_marks
from vision.parameters import (
    BOTH_LOG_ODDS,
    COUNT_LOG_ODDS,
    END_MARK_SHOWN,
    LED_RESIDUAL,
    NUMERALS_LOG_ODDS,
)

#: Width of a patch; and where that does not settle it, since the marks may reach further
#: than they were seen to.
_WIDTH_MM, _WIDE_MM = 10.5, 16.0
#: So many labels settle a numbering; more only take time.
_MOST_LABELS = 6
#: Confidence from which a number was read rather than guessed.
LEGIBLE = 0.5
#: So many times as dark against the wall the ink has to be in one colour for that to be asked.
_CLEARER = 1.2
#: Grain is smoothed over so much of the wall, where nothing else helps, and where that is no more
#: than so many pixels: print that is larger shows through any grain, and smoothing over more takes
#: seconds.
_GRAIN_MM, _MOST_GRAIN_PX = 0.3, 6.0


#: What the numbers say when they say which mark is which.
NUMBERED = ("agree", "other")
_Verdict = Literal["agree", "other", "disagree", "unread"]


@dataclass(frozen=True)
class NumeralCheck:
    """``verdict``: "agree", "other" (the numerals speak clearly for ``shift``),
    "disagree" (they speak against every numbering that the marks allow) or
    "unread"; ``log_odds`` (nats) is its lead over the second.  ``readable`` counts the
    labels that could be read; ``count_complete`` says that both ends of the scale were
    seen, ``unmatched_marks`` how many marks that are alike lie beyond them; ``side`` is -1 or 1,
    where the numerals are printed (0: not known); ``preferred_shift`` is the shift for which
    they speak without proving it (0: none); ``labels`` holds, for each label looked at,
    the index of its mark, what was read there and how surely (0 to 1)."""

    verdict: _Verdict
    shift: int
    log_odds: float
    readable: int
    count_complete: bool
    unmatched_marks: int
    sentence: str
    side: int = 0
    preferred_shift: int = 0
    labels: tuple[tuple[int, str, float], ...] = ()


def check_numerals(fit: GraduationFit, *, at_a_glance: bool = False) -> NumeralCheck:
    """Read all labels and weigh them against the marks; ``at_a_glance`` gives up where the first
    look shows no legible one."""
    complete, unmatched_marks = _count(fit)
    texts = sorted({m.text for m in fit.scale.marks if m.label})
    read = _read(fit, texts, at_a_glance)
    if read is None:
        return NumeralCheck("unread", 0, 0.0, 0, complete, unmatched_marks, "")
    if isinstance(read, NumbersAmongRings):
        return NumeralCheck("agree" if read.shift == 0 else "other", read.shift, read.log_odds,
                            read.readable, complete, unmatched_marks, "", read.side, 0,
                            read.labels)
    one, found = read
    readable = sum(p.unreadable < 0.5 for p in one.evidence.patches)
    labels = tuple((mark, p.text, p.confidence)
                   for mark, p in zip(one.marks, one.evidence.patches, strict=True))

    def check(verdict: _Verdict, shift: int = 0, sentence: str = "", preferred_shift: int = 0,
              side: int = one.side) -> NumeralCheck:
        return NumeralCheck(verdict, shift, found.margin, readable, complete, unmatched_marks,
                            sentence, side, preferred_shift, labels)

    if found.verdict == "settled":
        # If not here: number the marks their way and look again whether both then agree.
        return check("agree") if found.best == 0 else check("other", int(str(found.best)))
    run = main_run(fit.scale)
    now = [text_by_shift(fit, run, i, 0) for i in one.marks]
    doubting, agreeing = one.evidence.doubting(now), len(one.evidence.agreeing(now))
    # what is barely legible is misread as any number, and contradicts nothing
    legible = sum(one.evidence.patches[i].confidence > LEGIBLE for i in doubting)
    if complete and found.best == 0 and not legible and _together(fit, found):
        return check("agree")
    elsewhere = None if at_a_glance and _illegible(one) else _numbers_beside_all_marks(
        fit, texts, (one.side,) if legible >= 2 else (-1, 1))
    if elsewhere is not None:
        shift, log_odds, count, side = elsewhere
        return NumeralCheck("other", shift, log_odds, count, complete, unmatched_marks, "", side)
    preferred_shift = int(str(found.best)) if found.margin >= NUMERALS_LOG_ODDS else 0
    if legible >= 2 and len(doubting) > agreeing:
        seen = ", ".join(p.text for p in one.evidence.patches if p.text)
        return check("disagree", 0, "The printed numbers do not fit the marks of the chosen scale "
                     f"(read: {seen}). Check that the right scale is chosen, or tap one mark and "
                     "type its value.", preferred_shift)
    return check("unread", 0, "", preferred_shift, one.side if readable else 0)


def _read(fit: GraduationFit, texts: list[str], at_a_glance: bool
          ) -> tuple[_Side, NumberingVerdict] | NumbersAmongRings | None:
    """The numbers on their side of the marks and what they prove, in the look that says most; or
    what those among rings prove."""
    tries = []
    for seen, width_mm in _looks(fit):
        one = _clearer_side(seen, texts, width_mm)
        if one is None:
            continue
        found = _settle(fit, one.evidence, one.marks)
        if found.verdict != "settled" and found.agreeing >= SETTLED_LABELS:
            # a finger or a highlight over some of them: the other labels are asked too
            every = [i for i, m in enumerate(fit.scale.marks) if m.label]
            more, patches = label_patches(seen, one.side, every, width_mm)
            if len(more) > len(one.marks):
                wider = _Side(one.side, more, read_numerals(patches, [texts] * len(patches)))
                again = _settle(fit, wider.evidence, more)
                if again.verdict == "settled":
                    one, found = wider, again
        if found.verdict == "settled" or _surely_others(one, found) or (
                at_a_glance and _illegible(one)):
            return one, found
        tries.append((one, found))
    # first where each mark is asked, and a number's place tells its mark from the next one
    among = None if at_a_glance else numbers_among_rings(fit, texts)
    if among is not None:
        return among
    for one in _in_rings(fit, texts):
        found = _settle(fit, one.evidence, one.marks)
        if found.verdict == "settled":
            return one, found
        tries.append((one, found))
    return max(tries, key=lambda one_try: one_try[1].margin, default=None)


def _illegible(one: _Side) -> bool:
    """Whether none of the labels can be read."""
    return all(p.confidence <= LEGIBLE for p in one.evidence.patches)


def _surely_others(one: _Side, found: NumberingVerdict) -> bool:
    """Whether most of the labels are surely read, and fit no numbering: they are no better read in
    another look."""
    sure = sum(p.confidence >= SURE for p in one.evidence.patches)
    return found.doubting >= max(SETTLED_LABELS, found.agreeing + 1) and (
        sure > 0.5 * len(one.evidence.patches))


def _looks(fit: GraduationFit) -> Iterator[tuple[GraduationFit, float]]:
    """The picture and the width of the patches in which the numbers are read, in turn."""
    yield fit, _WIDTH_MM
    yield fit, _WIDE_MM
    clearer = _in_the_inks_colour(fit)
    if clearer is not None:
        yield clearer, _WIDTH_MM
    grain_px = max(_GRAIN_MM * fit.pose.px_per_mm(float(np.median(fit.height_mm))), 1.0)
    if grain_px <= _MOST_GRAIN_PX:
        smooth = cv2.GaussianBlur(fit.grey, (0, 0), grain_px)
        yield replace(fit, grey=np.asarray(smooth)), _WIDTH_MM


def _in_the_inks_colour(fit: GraduationFit) -> GraduationFit | None:
    """The row in the colour that its ink swallows most; None where none shows it much better."""
    if fit.picture is None or not fit.seen.any() or not fit.is_of_marks:
        return None
    core = (fit.samples.azimuth_rad >= fit.core_rad[0]) & (
        fit.samples.azimuth_rad <= fit.core_rad[1])

    def depth(grey: np.ndarray) -> float:
        return float(np.median(sample_marks(
            grey, fit.pose, fit.height_mm[fit.seen], fit.samples.gap_mm[fit.seen],
            fit.samples.azimuth_rad[core]).depth))

    looks = [fit.picture.look(name) for name in ("red", "green", "blue")]
    depths = [depth(look) for look in looks]
    best = int(np.argmax(depths))
    return replace(fit, grey=looks[best]) if depths[best] > _CLEARER * depth(fit.grey) else None


def _together(fit: GraduationFit, found: NumberingVerdict) -> bool:
    """Whether count and numbers, found independently, settle what neither proves alone."""
    log_odds = fit.evidence.margin(0)
    # where no other numbering was compared nothing is told by that
    if found.margin < NUMERALS_LOG_ODDS or not math.isfinite(found.margin):
        return False
    if found.agreeing >= SETTLED_LABELS:
        return log_odds >= COUNT_LOG_ODDS
    return (fit.relative_residual < LED_RESIDUAL and log_odds >= COUNT_LOG_ODDS
            and log_odds + found.margin >= BOTH_LOG_ODDS)


@dataclass(frozen=True)
class _Side:
    """What was read beside the ``marks`` (indices) on one side of the ladder."""

    side: int
    marks: list[int]
    evidence: NumeralEvidence


def _clearer_side(fit: GraduationFit, texts: list[str], width_mm: float) -> _Side | None:
    """The side of the marks on which their numbers are printed."""
    best: tuple[float, _Side] | None = None
    sides = [(*found, side) for found, side in (
        (label_patches(fit, side, None, width_mm), side) for side in (-1, 1)) if found[0]]
    # the likelier side first; the other only if that one says little
    for marks, patches, side in sorted(sides, key=lambda found: -_like_numbers(found[1])):
        evidence = read_numerals(patches, [texts] * len(patches))
        # an empty wall with the background behind it has edges too, but no numbers
        legible = sum(p.confidence for p in evidence.patches if p.text in texts)
        if best is None or legible > best[0]:
            best = legible, _Side(side, marks, evidence)
        if legible > 0.5 * len(marks):
            break
    return None if best is None else best[1]


def _in_rings(fit: GraduationFit, texts: list[str]) -> Iterator[_Side]:
    """What is read where marks that run round the tube are broken for their numbers, or where
    the numbers stand across them."""
    marks = [i for i, m in enumerate(fit.scale.marks) if m.label]
    if fit.samples.backs is not None:
        alone = replace(fit, grey=wiped(fit))
        for side, patches in patches_in_rings(alone, marks, alone=True):
            yield _Side(side, marks, read_numerals(patches, [texts] * len(patches),
                                                   beside_strokes=True))
    for side, patches in patches_in_rings(fit, marks):
        yield _Side(side, marks, read_numerals(patches, [texts] * len(patches)))
    for side, some, patches in patches_across_rings(fit, marks):
        yield _Side(side, some, read_numerals(patches, [texts] * len(patches)))


def _settle(fit: GraduationFit, evidence: NumeralEvidence, marks: list[int]) -> NumberingVerdict:
    """What the labels of ``marks`` prove about the numbering."""
    run = main_run(fit.scale)
    return settle_numbering(evidence, {k: [text_by_shift(fit, run, i, k) for i in marks]
                                       for k in possible_shifts(fit)})


def _numbers_beside_all_marks(fit: GraduationFit, texts: list[str], sides: tuple[int, ...]
                              ) -> tuple[int, float, int, int] | None:
    """(shift, lead, labels, side) when numerals are not where the numbering has them.

    The numbers beside each mark of the main run are read, and every shift is judged
    by the marks that would be labelled under it.  A number can still be read one mark
    beside its place, so neighbouring shifts are told apart by the marks' lengths.
    """
    e, run = fit.evidence, main_run(fit.scale)
    best: tuple[int, float, int, int] | None = None
    for side in sides:
        marks, patches = label_patches(fit, side, list(run))
        if not marks:
            continue
        evidence = read_numerals(patches, [texts] * len(patches))
        scores = np.full(len(e.shifts), -np.inf)
        counts = np.zeros(len(e.shifts), dtype=int)
        for j, shift in enumerate(e.shifts):
            told = [(p.scores[text], text) for p, i in zip(evidence.patches, marks, strict=True)
                    if (text := text_by_shift(fit, run, i, int(shift)))]
            counts[j] = len({text for score, text in told if score > AGREES})
            if counts[j] > SETTLED_LABELS and not any(score < DOUBTS for score, _ in told):
                scores[j] = sum(score for score, _ in told)
        if not np.isfinite(scores).any():
            continue
        j = int(np.argmax(np.where(np.isfinite(scores), scores + e.log_likelihood, -np.inf)))
        apart = np.abs(e.shifts - e.shifts[j]) > 1
        log_odds = float(scores[j] - scores[apart].max()) if apart.any() else np.inf
        if e.shifts[j] != 0 and log_odds > SETTLED_MARGIN and (best is None or log_odds > best[1]):
            best = int(e.shifts[j]), log_odds, int(counts[j]), side
    return best


def renumbered(fit: GraduationFit, shift: int) -> tuple[float, tuple[float, float]]:
    """(value, point) of a mark of the main run if its number is shifted."""
    run = main_run(fit.scale)
    inside = run[(run + shift >= run[0]) & (run + shift <= run[-1])]
    here = inside[fit.seen[inside]] if fit.seen[inside].any() else inside
    mark = int(here[len(here) // 2])
    middle = 0.5 * (fit.core_rad[0] + fit.core_rad[1])
    at = fit.pose.project(fit.pose.on_wall(
        np.array([middle]), np.array([fit.scale.marks[mark].height_mm])))[0]
    return fit.scale.marks[mark + shift].value, (float(at[0]), float(at[1]))


def _like_numbers(patches: list[np.ndarray | None]) -> float:
    """How much more the patches change along their middle rows than along the outer ones.

    A number stands level with its mark, with nothing above and below it; highlights
    and what shines through the wall run on.
    """
    found = []
    for p in patches:
        if p is None:
            continue
        change = np.abs(np.diff(p, axis=1)).mean(axis=1)
        quarter, sixth = len(change) // 4, max(1, len(change) // 6)
        middle = float(change[quarter:len(change) - quarter].mean())
        outer = float(np.concatenate([change[:sixth], change[-sixth:]]).mean())
        found.append((middle - outer) / (float(np.std(p)) + 3.0))
    return float(np.median(found)) if found else -np.inf


def _count(fit: GraduationFit) -> tuple[bool, int]:
    """Whether both ends of the scale were seen, and how many marks that are alike lie beyond
    them."""
    seen, ends = fit.seen, np.array([0, 1, -2, -1])
    complete = bool(seen.mean() > 0.85 and seen[ends].all()
                    and fit.shown[ends].min() >= END_MARK_SHOWN)
    return complete, marks_beyond(fit)


def marks_beyond(fit: GraduationFit) -> int:
    """How many marks that are alike go on beyond the ends of the scale."""
    run = main_run(fit.scale)
    e = fit.evidence
    there = set(e.lattice[e.like_marks].tolist())
    every = fit.height_mm
    unmatched: list[int] = []
    for start, step in ((-1, -1), (len(run), 1)):
        at = start
        while at in there:
            # marks of another row of the scale are not unmatched
            height = float(lattice_heights(every[run], np.array([at]))[0])
            if np.abs(every - height).min() < 0.6 * abs(e.step_mm):
                break
            unmatched.append(at)
            at += step
    # what is as dark as it likes is rims and grain
    return most_alike(e.strength[np.isin(e.lattice, unmatched)])


def label_patches(fit: GraduationFit, side: int, marks: list[int] | None = None,
                  width_mm: float = _WIDTH_MM) -> tuple[list[int], list[np.ndarray | None]]:
    """Patches beside the labelled marks (or ``marks``), ``side`` -1 left or +1 right.

    Returns the indices of the marks and, for each, an (h, w) float32 patch with
    upright digits, or None where it leaves the photo.
    """
    pose = fit.pose
    labelled = [i for i, m in enumerate(fit.scale.marks) if m.label]
    if not labelled:
        return [], []
    if marks is not None:
        labelled = marks
    elif len(labelled) > _MOST_LABELS:
        pick = np.round(np.linspace(0, len(labelled) - 1, _MOST_LABELS)).astype(int)
        labelled = [labelled[k] for k in pick]
    heights = np.array([fit.scale.marks[i].height_mm for i in labelled])
    every = np.array([m.height_mm for m in fit.scale.marks if m.label])
    half = HALF_PATCH_MM
    if len(every) > 1:
        half = min(half, 0.48 * float(np.min(np.abs(np.diff(every)))))
    start, limit = numbers_from_rad(fit, side)
    radii = np.broadcast_to(pose.radius_at_mm(heights), heights.shape)
    end = np.clip(start + side * width_mm / radii, -limit, limit)
    width = float((side * (end - start) * radii).min())
    if width < 1.5:
        return [], []
    px_mm = float(np.clip(pose.px_per_mm(float(np.median(heights))), 3.0, 9.0))
    rows, cols = max(8, int(2 * half * px_mm)), max(6, int(width * px_mm))
    patches: list[np.ndarray | None] = [None] * len(heights)
    for radius in np.unique(radii):  # all on one radius at once
        some = np.flatnonzero(radii == radius)
        z = np.linspace(heights[some] + half, heights[some] - half, rows, axis=1)
        left, right = sorted((start, start + side * width / float(radius)))
        seen = sample(fit.grey, pose.project_wall(np.linspace(left, right, cols), z.ravel()))
        for k, patch in zip(some, seen.reshape(len(some), rows, cols), strict=True):
            patches[k] = patch if np.isfinite(patch).all() else None
    return labelled, patches

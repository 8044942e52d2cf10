"""Which value each mark has: evidence from what is printed, shift by shift.

An evenly divided scale looks the same when every value is shifted by one long
mark.  Each possible shift is therefore scored on its own: marks that are there
or not, long or short, and where the gaps change along the scale whether they fit.
The printed numerals come in later (see ``numeral_evidence``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.graduations.backs_of_marks import backs_show
from vision.graduations.cylinder_pose import INDEPENDENT_POINTS, CylinderPose
from vision.graduations.projective_row import fit_1d
from vision.graduations.spacing import is_even, lattice_heights, main_run
from vision.graduations.unrolled_samples import MarkSamples, sample_marks
from vision.robust import MEDIAN_TO_SD, median_along, medians_among, spread
from vision.scale_file.scale import Scale

_SEEN, _MISSED = np.log(0.9 / 0.05), np.log(0.1 / 0.95)
_UNMATCHED = np.log(0.03)
#: Marks lie in place to this share of their gap at the best.
_IN_PLACE = 0.01
#: A mark is no farther off its place than this share of its gap.
_NEAR = 0.2
#: Marks of one scale are not darker than one another by more than this factor: the edges of a
#: finger, of a cap and of a surface differ.
_ALIKE = 1.33
#: So many places beside the short marks are looked at for what makes a mark long.
_NEAREST = 3
_CLASS_CAP, _CLASS_MOST, _CLEARER = 3.0, 12.0, 0.3


@dataclass(frozen=True)
class ShiftEvidence:
    """Log-likelihood of every shift of the numbering against the present one.

    A shift of +k says that each mark really is k marks further up the list.
    ``present`` holds, for the present numbering, which lattice places carry a
    mark, ``like_marks`` which carry one as dark as the others, ``strength`` how dark each is (grey
    levels); ``lattice`` are their indices (0 is the first mark of the run).
    """

    shifts: np.ndarray
    log_likelihood: np.ndarray
    lattice: np.ndarray
    present: np.ndarray
    like_marks: np.ndarray
    strength: np.ndarray
    step_mm: float

    @property
    def best_shift(self) -> int:
        """The shift that the marks themselves speak for."""
        return int(self.shifts[int(np.argmax(self.log_likelihood))])

    @property
    def beside_log_odds(self) -> float:
        """How far one of the numberings one or two marks further leads the present one."""
        beside = (self.shifts != 0) & (np.abs(self.shifts) <= 2)
        here = self.log_likelihood[self.shifts == 0]
        return float(self.log_likelihood[beside].max() - here[0]) if beside.any() else -math.inf

    def lead_over(self, shift: int) -> float:
        """How far the present numbering leads another one (infinite where that was not looked
        at)."""
        there = self.log_likelihood[self.shifts == shift]
        here = self.log_likelihood[self.shifts == 0]
        return float(here[0] - there[0]) if len(there) else math.inf

    def margin(self, shift: int) -> float:
        """How far ``shift`` leads the best other shift (negative if it trails)."""
        k = int(np.flatnonzero(self.shifts == shift)[0])
        others = np.delete(self.log_likelihood, k)
        return float(self.log_likelihood[k] - others.max()) if len(others) else np.inf


def shift_evidence(
    grey: np.ndarray, pose: CylinderPose, scale: Scale, core_rad: tuple[float, float],
    max_shift: int = 30, backs: bool = False,
) -> ShiftEvidence | None:
    """Look at every lattice place of the main run, on the scale and beyond its ends.

    None where no such place lies in the picture: an unusual pose is no chamber.

    ``grey`` is (H, W) float32; ``core_rad`` is the azimuth range that every mark,
    long or short, covers.
    """
    run = main_run(scale)
    marks = [scale.marks[i] for i in run]
    of_marks = np.array([m.height_mm for m in marks])
    step = (marks[-1].height_mm - marks[0].height_mm) / (len(marks) - 1)
    n = len(marks)
    extend = min(max_shift, n)
    lattice = np.arange(-extend, n + extend)
    height = lattice_heights(of_marks, lattice)
    whole = len(run) == len(scale.marks)
    centre = 0.5 * (core_rad[0] + core_rad[1])
    image_h, image_w = grey.shape
    where = pose.project(pose.on_wall(np.full(len(height), centre), height))
    inside = ((where[:, 0] > 4) & (where[:, 0] < image_w - 5)
              & (where[:, 1] > 4) & (where[:, 1] < image_h - 5))
    if not inside.any():
        return None
    lattice, height = lattice[inside], height[inside]
    azimuth = np.radians(np.arange(-66.0, 66.1, 4.0))
    gap = np.full(len(height), abs(step)) if is_even(of_marks) else np.abs(np.gradient(height))
    s = sample_marks(grey, pose, height, gap, azimuth)
    if backs:
        every = np.array([m.height_mm for m in scale.marks])
        s = replace(s, untold=backs_show(pose, azimuth, height, gap, every))
    core = (azimuth >= core_rad[0]) & (azimuth <= core_rad[1])
    # very short marks may lie between two of these azimuths
    core[int(np.argmin(np.abs(azimuth - centre)))] = True
    strength, present = present_marks(s, core, gap)
    on_scale = (lattice >= 0) & (lattice < n)
    typical = float(np.median(strength[on_scale & present])) if (on_scale & present).any() else 1.0
    # an unmatched mark has to look like the marks do, not merely be an edge
    like_marks = present & (strength > 0.5 * typical)
    # long against short by the share of the light that ink takes: what is behind does not count
    ink = np.where(np.isfinite(s.depth), s.ink_share, 0.0)
    marks_ink = np.median(ink[:, core], axis=1)[on_scale & present]
    relative = ink / max(float(np.median(marks_ink)) if marks_ink.size else 1.0, 1e-6)
    is_long = np.array([m.length == "long" for m in marks])
    left, right = _beside(relative, core)
    shifts = np.arange(-extend, extend + 1) if whole or n > 8 else np.array([0])
    there = _presence_scores(lattice, present, like_marks, n, shifts, whole)
    if not is_even(of_marks):
        seen = s.offset_mm[:, core]
        at = height + median_along(np.where(np.isfinite(seen), seen, 0.0), 1)
        there += [_spacing_score(lattice, present, at, of_marks, int(k)) for k in shifts]
    # long against short is weighed only where presence does not speak clearly
    close = there > there.max() - 40.0
    ll = there.astype(float)
    ll[close] += _class_scores(lattice, present, left, right, is_long, shifts[close])
    return ShiftEvidence(shifts, ll, lattice, present, like_marks, strength, float(step))


def most_alike(strength: np.ndarray) -> int:
    """How many of some strokes, (N,) as dark as that, may be marks of one scale."""
    ratio = strength[:, None] / strength[None, :]
    return int(((ratio < _ALIKE) & (ratio > 1.0 / _ALIKE)).sum(axis=1).max(initial=0))


def present_marks(samples: MarkSamples, core: np.ndarray, gap_mm: np.ndarray,
                  within: float = _NEAR) -> tuple[np.ndarray, np.ndarray]:
    """(M,) strength of each place in the ``core`` azimuths (A,), and whether a mark is there: no
    farther off than a share ``within`` of its gap."""
    depth, offset = samples.depth[:, core], samples.offset_mm[:, core]
    told = samples.at(slice(None), core)
    strength = told.typical(np.where(np.isfinite(depth), depth, 0.0), 1)
    quiet = np.nanmedian(samples.noise[:, core]) if core.any() else 1.0
    # where nothing was sampled (outside the photo) nothing is in place
    away = np.where(np.isfinite(offset), np.abs(offset), np.inf)
    in_place = told.typical(away, 1) < within * gap_mm
    return strength, (strength > max(3.0 * quiet, 3.0)) & in_place


def _presence_scores(lattice: np.ndarray, present: np.ndarray, like_marks: np.ndarray,
                     n: int, shifts: np.ndarray, whole: bool) -> np.ndarray:
    """(K,) marks that are there or missing under each of some shifts (K,), as log-likelihood."""
    place = lattice + shifts[:, None]
    on = (place >= 0) & (place < n)
    seen = (on & present).sum(axis=1)
    score = seen * _SEEN + (on.sum(axis=1) - seen) * _MISSED
    # marks of the scale that would lie outside the picture were not missed,
    # they were not there to be seen
    if whole:
        score = score + (~on & like_marks).sum(axis=1) * _UNMATCHED
    return np.asarray(score)


def _spacing_score(lattice: np.ndarray, present: np.ndarray, at_mm: np.ndarray,
                   of_marks_mm: np.ndarray, shift: int) -> float:
    """How well uneven gaps fit under one shift, as a log-likelihood.

    ``at_mm`` (L,) is where the marks were seen on the wall.  Seen from elsewhere they would lie
    elsewhere, but along a line any view maps them projectively.
    """
    place = lattice + shift
    use = present & (place >= 0) & (place < len(of_marks_mm))
    if use.sum() < 6:
        return 0.0
    _, off = fit_1d(of_marks_mm[place[use]], at_mm[use])
    gap = float(np.abs(np.diff(of_marks_mm)).mean())
    return -INDEPENDENT_POINTS * math.log(max(float(spread(off)) / gap, _IN_PLACE))


def _beside(relative: np.ndarray, core: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(L, up to 3) relative darkness just left and just right of the short marks.

    What makes a mark long continues it; numerals, further out, are not part of it.
    """
    inside = np.flatnonzero(core)
    first, last = int(inside[0]), int(inside[-1])
    return (relative[:, max(first - _NEAREST, 0):first],
            relative[:, last + 1:last + 1 + _NEAREST])


def _class_scores(lattice: np.ndarray, present: np.ndarray, left: np.ndarray, right: np.ndarray,
                  is_long: np.ndarray, shifts: np.ndarray) -> np.ndarray:
    """(K,) long against short marks under each of some shifts (K,), as a log-likelihood.

    ``left`` and ``right`` (L, A) are the relative darkness just beside the short marks.
    """
    place = lattice + shifts[:, None]
    use = (place >= 0) & (place < len(is_long)) & present
    long_here = use & is_long[np.clip(place, 0, len(is_long) - 1)]
    number, n_long = use.sum(axis=1), long_here.sum(axis=1)
    n_short = number - n_long
    told = (number >= 6) & (n_long > 0) & (n_short > 0)
    score = np.zeros(len(shifts))
    sides = [_clearness(d, use[told], long_here[told]) for d in (left, right) if d.shape[1]]
    if not sides or not told.any():
        return score
    clear = np.max(sides, axis=0)
    # what is clearer still counts on, but slowly: it has to part neighbouring shifts
    gain = 0.5 * np.minimum(clear, _CLASS_CAP) ** 2 + _CLEARER * np.maximum(
        np.minimum(clear, _CLASS_MOST) - _CLASS_CAP, 0.0)
    score[told] = gain * n_long[told] * n_short[told] / number[told]
    return score


def _clearness(every: np.ndarray, use: np.ndarray, is_long: np.ndarray) -> np.ndarray:
    """(K,) how clearly one side of the marks shows that those of ``is_long`` (K, L), of all marks
    ``use`` (K, L), are the long ones.

    Numbers are as dark as ink and so tall that they stand beside the neighbours of their mark,
    above and below it alike: what is dark beside a mark and on one side of it only is the number of
    a neighbour, and counts for nothing.  ``every`` (L, A) are all lattice places.
    """
    mean_a, mean_b = medians_among(every, is_long), medians_among(every, use & ~is_long)
    rest = np.abs(every - np.where(is_long[..., None], mean_a[:, None], mean_b[:, None]))
    grain = MEDIAN_TO_SD * medians_among(rest, use) + 0.08
    one_sided = np.zeros_like(mean_a)
    for away in (1, 2):
        inner = is_long[:, away:-away]  # with a neighbour so far off either way
        apart = np.abs(medians_among(every[2 * away:], inner)
                       - medians_among(every[:-2 * away], inner))
        some = np.asarray(inner.any(axis=1))[:, None]
        one_sided = np.where(some, np.maximum(one_sided, apart), one_sided)
    t = np.sort(np.maximum(mean_a - mean_b - np.maximum(one_sided - grain, 0.0), 0.0) / grain,
                axis=1)
    # the nearest place may still be the end of the short marks: the better two count
    return np.asarray(t[:, -2:].mean(axis=1))

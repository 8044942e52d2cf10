"""Which stroke is which mark: a chain of strokes laid against the scale file.

A hypothesis pairs a run of strokes with a run of marks; the map along the row that follows
(``projective_row``) predicts all other marks, and what is then found or missed, long or
short, speaks for or against it.

Marks on a narrower part of a stepped tube stand behind that line.  Seen from a camera at
height H and distance D from the line, a mark at height z that lies b behind it stands where
one on the line at z + (H - z) b / (D + b) would: with a few H tried out, the map is the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.graduations.projective_row import fit_1d, project_1d, slope_1d
from vision.graduations.ridges import Strokes
from vision.graduations.rows import Chain
from vision.graduations.spacing import SAME_RUN, is_tapered
from vision.imaging.work import Work
from vision.robust import fit_linear, median, spread
from vision.scale_file.scale import Scale
from vision.true_intervals import true_intervals

# How often a mark that should be seen is missed, a long one is taken for a
# short one, and a regular stroke is no mark at all.  Rough figures: only the
# large differences between hypotheses matter, and numerals decide close calls.
# Each is a log-likelihood ratio against "no ladder here".
_LOG_SEEN, _LOG_MISSED = np.log(0.9 / 0.05), np.log(0.1 / 0.95)
_LOG_CLASS_RIGHT, _LOG_CLASS_WRONG = np.log(0.93 / 0.5), np.log(0.07 / 0.5)
_LOG_UNMATCHED = np.log(0.03)
#: That of a picture none of the short marks is found, once; and what share of long ones
#: among the marks found says so.
_LOG_SHORT_UNSEEN, _MOSTLY = np.log(0.002), 0.85
#: That something covers the scale from one mark on, and goes on covering the next.
_LOG_COVERED, _LOG_STILL = np.log(0.01), np.log(0.75)
#: That a mark of the scale lies outside the photo.
_LOG_OUTSIDE = np.log(0.75)
#: Elevations from which a stepped tube is tried, degrees: between two of them a part that
#: stands 10 mm behind moves by less than a mark's room to be found in.
_TRIED_DEG = tuple(range(-30, 31, 4))
#: A row is followed over so many turns at most.
_MOST_TURNS = 8
#: So many pairings of a row with the scale are tried first; the others only when none of
#: those reaches this score for each mark.
_PAIRINGS, _PLAIN = 5, 1.0


@dataclass(frozen=True)
class Alignment:
    """One way to number the strokes.

    ``mark`` and ``stroke`` (M,) pair indices of ``scale.marks`` with strokes;
    ``map_abc`` is the 1-D projective map from height (mm) to y (px) along the
    reference column x = column[0] + column[1] * y; ``score`` is a log-likelihood
    (only differences mean something); ``unmatched_marks`` are strokes in the row that
    are no mark, ``missed`` marks without a stroke.
    """

    mark: np.ndarray
    stroke: np.ndarray
    map_abc: np.ndarray
    column: tuple[float, float]
    score: float
    residual_px: float
    unmatched_marks: int
    missed: int


def _reference_column(strokes: Strokes, index: np.ndarray) -> tuple[float, float]:
    """The line x = p + q y through the middles of the short strokes of a chain."""
    length = strokes.length_px[index]
    short = index[length <= 1.35 * np.percentile(length, 30)]
    x, y = strokes.centre_px[short, 0], strokes.centre_px[short, 1]
    p, q = fit_linear(np.column_stack([np.ones_like(y), y]), x, turn=2.0, least_spread=0.5,
                      rounds=6).parameters
    return float(p), float(q)


def _crossing(strokes: Strokes, column: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """y where each stroke (continued) crosses the column, and how far outside it that is."""
    dx = strokes.right_px[:, 0] - strokes.left_px[:, 0]
    slope = (strokes.right_px[:, 1] - strokes.left_px[:, 1]) / np.maximum(dx, 1.0)
    y = strokes.centre_px[:, 1].copy()
    for _ in range(2):
        x = column[0] + column[1] * y
        y = strokes.centre_px[:, 1] + slope * (x - strokes.centre_px[:, 0])
    x = column[0] + column[1] * y
    outside = np.maximum(strokes.left_px[:, 0] - x, x - strokes.right_px[:, 0])
    return y, np.maximum(outside, 0.0)


@dataclass(frozen=True)
class _Row:
    """A chain, and all strokes of the picture laid onto its reference column.

    ``along_px`` (N,) is the y at which each stroke (continued) crosses the column; ``near`` are
    the strokes that reach it, from the top down.
    """

    strokes: Strokes
    chain: Chain
    column: tuple[float, float]
    along_px: np.ndarray
    near: np.ndarray
    picture_height_px: int


def _row(strokes: Strokes, chain: Chain, picture_height_px: int) -> _Row:
    column = _reference_column(strokes, chain.index)
    along, outside = _crossing(strokes, column)
    near = np.flatnonzero(outside < 0.15 * median(strokes.length_px[chain.index]))
    return _Row(strokes, chain, column, along, near[np.argsort(along[near], kind="stable")],
                picture_height_px)


def _regular_segments(count: np.ndarray, t: np.ndarray) -> list[np.ndarray]:
    """Split a chain where its spacing changes (a stepped bore, a wrong turn)."""
    left = np.arange(len(count))
    whole, _ = fit_1d(count.astype(float), t)
    good = np.abs(t - project_1d(whole, count)) < 0.14 * np.abs(slope_1d(whole, count)) + 0.4
    if good.sum() >= max(6, 0.85 * len(count)):
        return [left[good]]
    segments: list[np.ndarray] = []
    rng = np.random.default_rng(7)
    while len(left) >= 6 and len(segments) < 4:
        k, y = count[left].astype(float), t[left]
        best: np.ndarray | None = None
        # of a short chain the same pieces are drawn again and again
        tried: set[tuple[int, int] | bytes] = set()
        for _ in range(60):
            start = int(rng.integers(0, max(len(left) - 5, 1)))
            width = int(rng.integers(5, 14))
            seed = slice(start, min(start + width, len(left)))
            if seed.stop - seed.start < 5 or (seed.start, seed.stop) in tried:
                continue
            tried.add((seed.start, seed.stop))
            abc, _ = fit_1d(k[seed], y[seed], rounds=2)
            pitch = np.abs(slope_1d(abc, k))
            inlier = np.abs(y - project_1d(abc, k)) < 0.14 * pitch + 0.4
            if (which := inlier.tobytes()) in tried:
                continue
            tried.add(which)
            if inlier.sum() >= 6:
                abc, _ = fit_1d(k[inlier], y[inlier], rounds=2)
                pitch = np.abs(slope_1d(abc, k))
                inlier = np.abs(y - project_1d(abc, k)) < 0.14 * pitch + 0.4
            if best is None or inlier.sum() > best.sum():
                best = inlier
        if best is None or best.sum() < 6:
            break
        segments.append(left[best])
        left = left[~best]
    return segments


def _runs(scale: Scale) -> list[np.ndarray]:
    """Index runs of the scale's marks with even spacing: of all marks, and of the long ones.

    In a tapered bore the gaps change little by little: there a run is all of them, since a row
    seen whole has more strokes than any even part of the scale has marks.
    """
    runs: list[np.ndarray] = []
    height = np.array([m.height_mm for m in scale.marks])
    is_long = np.array([m.length == "long" for m in scale.marks])
    tapered = is_tapered(height)
    for subset in (np.arange(len(height)), np.flatnonzero(is_long)):
        if len(subset) < 3:
            continue
        if tapered:
            runs.append(subset)
        gap = np.diff(height[subset])
        start = 0
        for i in range(1, len(gap) + 1):
            if i == len(gap) or abs(gap[i] / gap[start] - 1) > SAME_RUN:
                if i - start >= 2:
                    runs.append(subset[start:i + 1])
                start = i
    return runs


def align(strokes: Strokes, chains: list[Chain], scale: Scale, height_px: int,
          fixed: tuple[int, float] | None = None, focal_px: float = 1000.0,
          work: Work | None = None) -> list[Alignment]:
    """All plausible numberings of the chains, the likeliest first.

    ``height_px`` is the height of the searched picture, ``focal_px`` its focal length (used
    for stepped tubes only); ``fixed`` says which mark (index) lies at which y.  Returns an
    empty list when no chain fits the scale.
    """
    found: list[Alignment] = []
    later: list[tuple[_Row, np.ndarray, np.ndarray]] = []
    work = Work() if work is None else work
    rows = 1 if scale.outline is None else len(_TRIED_DEG)
    runs = _runs(scale)
    for chain in chains[:3]:
        if found and len(chain) < 0.5 * max(len(a.mark) for a in found):
            break
        row = _row(strokes, chain, height_px)
        t = row.along_px
        for segment in _regular_segments(chain.count, t[chain.index]):
            idx, count = chain.index[segment], chain.count[segment]
            trial = _trials(strokes, idx, count, t, scale, runs, fixed)
            later += [(row, *pair) for pair in trial[_PAIRINGS:]]
            for pairs_mark, pairs_stroke in trial[:_PAIRINGS]:
                if not work.take(rows):
                    break
                a = _best_view(row, scale, pairs_mark, pairs_stroke, focal_px)
                if a is not None:
                    found.append(a)
                    if len(a.mark) > 0.95 * len(scale.marks) and a.unmatched_marks <= 1:
                        # the whole scale is there: other shifts are weighed later,
                        # on the unrolled wall
                        break
    if max((a.score for a in found), default=-np.inf) < _PLAIN * len(scale.marks):
        grown = (_best_view(row, scale, mark, stroke, focal_px) for row, mark, stroke in later
                 if work.take(rows))
        found += [a for a in grown if a is not None]
    found.sort(key=lambda a: -a.score)
    distinct: list[tuple[Alignment, dict[int, int]]] = []
    for a in found:
        pairs = dict(zip(a.stroke.tolist(), a.mark.tolist(), strict=True))
        if not any(_same(pairs, others) for _, others in distinct):
            distinct.append((a, pairs))
    return [a for a, _ in distinct[:24]]


def _same(a: dict[int, int], b: dict[int, int]) -> bool:
    """Whether two alignments, as the mark of each stroke, give most strokes that both have the
    same marks."""
    alike = [b[s] == m for s, m in a.items() if s in b]
    return 2 * sum(alike) > len(alike)


def _trials(
    strokes: Strokes, idx: np.ndarray, count: np.ndarray, t: np.ndarray, scale: Scale,
    runs: list[np.ndarray], fixed: tuple[int, float] | None,
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Pairings of a segment with runs of the scale that are worth growing."""
    held: int | None = None
    if fixed is not None:
        abc, _ = fit_1d(count.astype(float), t[idx])
        around = np.arange(count.min() - 60, count.max() + 61)
        around = around[1.0 + abc[2] * around > 0.1]
        held = int(around[int(np.argmin(np.abs(project_1d(abc, around) - fixed[1])))])
    is_long = np.array([m.length == "long" for m in scale.marks])
    longish = _looks_long(strokes, idx, count, t)
    sign = -1 if scale.direction == "up" else 1
    ranked: list[tuple[float, np.ndarray, np.ndarray]] = []
    for run in runs:
        place = sign * count
        shifts = np.arange(-int(place.max()), len(run) - int(place.min()))
        where = place[None] + shifts[:, None]
        inside = (where >= 0) & (where < len(run))
        marks = run[np.clip(where, 0, len(run) - 1)]
        agreement = np.ones(inside.shape)
        if longish is not None:
            agreement = np.where(is_long[marks] == longish[None], 1.0, -1.5)
        score = np.where(inside, agreement, -1.0).sum(axis=1)
        n = inside.sum(axis=1)
        score[(n < 5) | (n < 0.35 * len(idx))] = -np.inf
        if held is not None and fixed is not None:
            at = sign * held + shifts
            there = (at >= 0) & (at < len(run))
            score[~there | (run[np.clip(at, 0, len(run) - 1)] != fixed[0])] = -np.inf
        for k in np.argsort(-score)[:_PAIRINGS]:
            if np.isfinite(score[k]):
                ranked.append((float(score[k]), marks[k][inside[k]], idx[inside[k]]))
    ranked.sort(key=lambda item: -item[0])
    return [(m, s) for _, m, s in ranked]


def _looks_long(strokes: Strokes, idx: np.ndarray, count: np.ndarray, t: np.ndarray
                ) -> np.ndarray | None:
    """Long or short, from the lengths against the local pitch; None if all are alike."""
    abc, _ = fit_1d(count.astype(float), t[idx])
    size = np.log(strokes.length_px[idx] / np.maximum(np.abs(slope_1d(abc, count)), 1e-6))
    return split_two(size)


def split_two(log_size: np.ndarray) -> np.ndarray | None:
    """Two groups of log lengths, or None when there is no clear gap.

    The threshold maximises the separation of the two means over the pooled
    spread (Otsu's criterion); a ratio under 1.25 is no difference of kind.
    """
    s = np.sort(log_size)
    if len(s) < 6:
        return None
    k = np.arange(1, len(s))
    total = np.cumsum(s)
    low_mean = total[:-1] / k
    high_mean = (total[-1] - total[:-1]) / (len(s) - k)
    between = k * (len(s) - k) * (high_mean - low_mean) ** 2
    at = int(np.argmax(between))
    if between[at] <= 0:
        return None
    threshold = (s[at] + s[at + 1]) / 2
    split = int(np.searchsorted(s, threshold, side="right"))
    if split == len(s):
        return None
    low, high = median(s[:split]), median(s[split:])
    if high - low < math.log(1.25):
        return None  # all alike, or hardly different
    return np.asarray(log_size > (high + low) / 2)


def _missed_score(mark: np.ndarray, is_long: np.ndarray, in_picture: np.ndarray) -> float:
    """What the marks that should be seen and are not speak against a hypothesis.

    Small or pale short marks are missed all together and for one reason; they then
    count once, and the long ones each.  So do neighbours that a finger, a label or deep
    liquid hides: one reason, not many.
    """
    missed = in_picture.copy()
    missed[mark] = False
    each = _runs_missed(missed)
    if is_long[mark].mean() >= _MOSTLY:
        each = max(each, _runs_missed(missed[is_long]) + _LOG_SHORT_UNSEEN)
    return each + float((~in_picture).sum()) * _LOG_OUTSIDE


def _length_score(log_size: np.ndarray, is_long: np.ndarray) -> float:
    """How well the lengths of strokes agree with the marks that they are taken for."""
    longish = split_two(log_size)
    if longish is not None:
        return float(np.sum(np.where(longish == is_long, _LOG_CLASS_RIGHT, _LOG_CLASS_WRONG)))
    if is_long.any() and not is_long.all():
        return len(is_long) * float(_LOG_CLASS_WRONG) * 0.3
    return 0.0


def _runs_missed(missed: np.ndarray) -> float:
    """The log-likelihood of marks missed, run by run: one by one, or hidden together."""
    length = np.diff(true_intervals(missed), axis=1).astype(float)
    return float(np.maximum(length * _LOG_MISSED, _LOG_COVERED + length * _LOG_STILL).sum())


def _best_view(row: _Row, scale: Scale, mark: np.ndarray, stroke: np.ndarray, focal_px: float
               ) -> Alignment | None:
    """A pairing followed through the whole scale, from the elevation that explains most."""
    z = np.array([m.height_mm for m in scale.marks])
    is_long = np.array([m.length == "long" for m in scale.marks])
    if len(row.near) == 0:
        return None
    if scale.outline is None:
        return _grow(row, scale, is_long, z, mark, stroke)
    behind = scale.outline.behind_mm(z)
    middle = 0.5 * (float(z.min()) + float(z.max()))
    abc, _ = fit_1d(z[mark], row.along_px[stroke], rounds=2)
    away = focal_px / max(float(np.abs(slope_1d(abc, z[mark])).mean()), 1e-6)
    found = []
    for elevation_deg in _TRIED_DEG:
        height = middle + away * np.tan(np.radians(elevation_deg))
        on_line = z + (height - z) * behind / (away + behind)
        found.append(_grow(row, scale, is_long, on_line, mark, stroke))
    return max((a for a in found if a is not None), key=lambda a: a.score, default=None)


def _grow(row: _Row, scale: Scale, is_long: np.ndarray, z_all: np.ndarray, mark: np.ndarray,
          stroke: np.ndarray) -> Alignment | None:
    """Fit the map, predict every mark, gather what is there, and judge.

    ``z_all`` (M,) are the heights of the marks on the line that the map is of.
    """
    t, near = row.along_px, row.near
    there = t[near]
    order = np.arange(len(z_all))
    apart = np.abs(np.gradient(z_all))  # heights fall on a scale that counts down
    whole, settled = 0, False
    abc = np.zeros(3)
    for turn in range(1, _MOST_TURNS + 1):
        if not settled:
            abc, _ = fit_1d(z_all[mark], t[stroke], rounds=2)
        # a short row does not foretell what lies far beyond it: it is followed in steps
        ahead = turn * (3 + len(mark) // 2)
        known = (order >= mark.min() - ahead) & (order <= mark.max() + ahead)
        if (1.0 + abc[2] * z_all[known] <= 0.1).any():
            return None
        want = project_1d(abc, z_all[known])
        gap = apart[known] * np.abs(slope_1d(abc, z_all[known]))
        after = np.minimum(np.searchsorted(there, want), len(there) - 1)
        before = np.maximum(after - 1, 0)
        off, off_before = np.abs(there[after] - want), np.abs(there[before] - want)
        j = np.where(off_before <= off, before, after)
        hit = np.minimum(off, off_before) < 0.2 * gap + 0.6
        new_mark, new_stroke = np.flatnonzero(known)[hit], near[j[hit]]
        # one stroke, one mark: of several assignments to one place the last stays
        count = np.arange(len(new_stroke))
        first = np.zeros(len(t), int)
        first[new_stroke[::-1]] = count[::-1]
        only = first[new_stroke] == count
        new_mark, new_stroke = new_mark[only], new_stroke[only]
        settled = np.array_equal(new_mark, mark) and np.array_equal(new_stroke, stroke)
        mark, stroke = new_mark, new_stroke
        if len(mark) < 5:
            return None
        whole += bool(known.all())
        if whole == 2 or whole and settled:  # another turn would only say the same
            break
    abc, residual = fit_1d(z_all[mark], t[stroke])
    if whole == 0 or (1.0 + abc[2] * z_all <= 0.1).any():
        return None
    size = np.log(row.strokes.length_px[stroke] / np.abs(slope_1d(abc, z_all[mark])))
    want = project_1d(abc, z_all)
    in_picture = (want > 2) & (want < row.picture_height_px - 3)
    missed = int(in_picture.sum()) - len(mark)
    # strokes of the chain that the scale leaves unexplained
    unmatched_marks = int(np.setdiff1d(row.chain.index, stroke).size)
    residual_px = float(spread(residual))
    score = len(mark) * _LOG_SEEN + _missed_score(mark, is_long, in_picture) + (
        unmatched_marks * _LOG_UNMATCHED)
    # marks on another radius may be of other lengths, too
    part = np.zeros(len(mark), int) if scale.outline is None else scale.outline.part(
        [scale.marks[m].height_mm for m in mark])
    for one in np.unique(part):
        score += _length_score(size[part == one], is_long[mark[part == one]])
    # a misfit of the spacing itself
    pitch = median(apart * np.abs(slope_1d(abc, z_all)))
    score -= 0.5 * float(np.minimum((residual / (0.06 * pitch + 0.3)) ** 2, 9.0).sum())
    return Alignment(mark, stroke, abc, row.column, score, residual_px, unmatched_marks, missed)

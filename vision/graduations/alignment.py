"""Which stroke is which mark: a chain of strokes laid against the scale file.

A hypothesis pairs a run of strokes with a run of marks; the map along the row that follows
(``projective_row``) predicts all other marks, and what is then found or missed, long or
short, speaks for or against it.

Marks on a narrower part of a stepped tube stand behind that line.  Seen from a camera at
height H and distance D from the line, a mark at height z that lies b behind it stands where
one on the line at z + (H - z) b / (D + b) would: with a few H tried out, the map is the same.
"""

from __future__ import annotations

import numpy as np

from vision.graduations.alignment_growth import Alignment, Pairing, Row, grow, split_two
from vision.graduations.projective_row import fit_1d, project_1d, slope_1d
from vision.graduations.ridges import Strokes
from vision.graduations.rows import Chain
from vision.graduations.spacing import SAME_RUN, is_tapered
from vision.imaging.work import Work
from vision.robust import fit_linear, median
from vision.scale_file.scale import Scale

#: Elevations from which a stepped tube is tried, degrees: between two of them a part that
#: stands 10 mm behind moves by less than a mark's room to be found in.
_TRIED_DEG = tuple(range(-30, 31, 4))
#: So many pairings of a row with the scale are tried first; the others only when none of
#: those reaches this score for each mark.
_PAIRINGS, _PLAIN = 5, 1.0


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


def _row(strokes: Strokes, chain: Chain, picture_height_px: int) -> Row:
    column = _reference_column(strokes, chain.index)
    along, outside = _crossing(strokes, column)
    near = np.flatnonzero(outside < 0.15 * median(strokes.length_px[chain.index]))
    return Row(strokes, chain, column, along, near[np.argsort(along[near], kind="stable")],
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
    later: list[tuple[Row, list[Pairing]]] = []
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
            later.append((row, trial[_PAIRINGS:]))
            first = trial[:min(_PAIRINGS, work.left // rows)]
            for a in _best_views(row, scale, first, focal_px):
                work.take(rows)
                if a is not None:
                    found.append(a)
                    if len(a.mark) > 0.95 * len(scale.marks) and a.unmatched_marks <= 1:
                        # the whole scale is there: other shifts are weighed later,
                        # on the unrolled wall
                        break
    if max((a.score for a in found), default=-np.inf) < _PLAIN * len(scale.marks):
        for row, others in later:
            allowed = [pairing for pairing in others if work.take(rows)]
            found += [a for a in _best_views(row, scale, allowed, focal_px) if a is not None]
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


def _best_views(row: Row, scale: Scale, pairings: list[Pairing], focal_px: float
                ) -> list[Alignment | None]:
    """Pairings followed through the whole scale, each from the elevation that explains most; see
    :func:`vision.graduations.alignment_growth.grow`."""
    z = np.array([m.height_mm for m in scale.marks])
    if scale.outline is None:
        return grow(row, scale, np.broadcast_to(z, (len(pairings), 1, len(z))), pairings)
    behind = scale.outline.behind_mm(z)
    middle = 0.5 * (float(z.min()) + float(z.max()))
    on_line = np.empty((len(pairings), len(_TRIED_DEG), len(z)))
    for k, (mark, stroke) in enumerate(pairings):
        abc, _ = fit_1d(z[mark], row.along_px[stroke], rounds=2)
        away = focal_px / max(float(np.abs(slope_1d(abc, z[mark])).mean()), 1e-6)
        height = middle + away * np.tan(np.radians(_TRIED_DEG))[:, None]
        on_line[k] = z + (height - z) * behind / (away + behind)
    return grow(row, scale, on_line, pairings)

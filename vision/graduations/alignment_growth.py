"""Pairings of strokes with marks followed through the whole scale, many at once.

A pairing is fitted, the map along the row that follows predicts every mark, what is there is
gathered, and so on until nothing changes; what is then found or missed, long or short, gives its
score.  A row of strokes can be laid against a scale in dozens of ways, and a stepped tube seen from
many elevations: they are worked on together, an array with one line for each of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.graduations.projective_row import fit_rows, project_rows, slope_rows
from vision.graduations.ridges import Strokes
from vision.graduations.rows import Chain
from vision.robust import MEDIAN_TO_SD, median, median_along
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
#: A row is followed over so many turns at most.
_MOST_TURNS = 8
_FEWEST_MARKS = 5
#: A map that goes through infinity within the scale is no view of it.
_LEAST_BEND = 0.1


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


@dataclass(frozen=True)
class Row:
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


#: Indices of marks and of the strokes that are taken for them.
Pairing = tuple[np.ndarray, np.ndarray]


def grow(row: Row, scale: Scale, height_mm: np.ndarray, pairings: list[Pairing]
         ) -> list[Alignment | None]:
    """What each of the pairings (P) of a row leads to; None where that is no view of the scale, or
    where an earlier one led to the same.

    ``height_mm`` (P, V, M) are the heights of the marks on the line that the map is of, as seen
    from V places; of those the one that explains most is kept.
    """
    if len(row.near) == 0 or not pairings:
        return [None] * len(pairings)
    views = height_mm.shape[1]
    z = height_mm.reshape(-1, height_mm.shape[2])
    start = np.full((len(pairings), z.shape[1]), -1)
    for line, (mark, stroke) in zip(start, pairings, strict=True):
        line[mark] = stroke
    stroke, alive = _followed(row, z, np.repeat(start, views, axis=0))
    judged = _Judged(row, scale, z[alive], stroke[alive])
    place = np.full(len(alive), -1)
    place[alive] = np.arange(int(alive.sum()))
    known: set[bytes] = set()
    out: list[Alignment | None] = []
    for several in place.reshape(-1, views):
        some = [int(k) for k in several if k >= 0 and judged.whole[k]]
        if views == 1:
            # many lead to the same strokes
            some = [k for k in some if judged.stroke[k].tobytes() not in known]
            known.update(judged.stroke[k].tobytes() for k in some)
        out.append(judged.best_of(some))
    return out


def _followed(row: Row, z: np.ndarray, stroke: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(P, M) the stroke of each mark (-1: none) once nothing changes, and which of the pairings
    have led there (P,)."""
    stroke = stroke.copy()
    there, near = row.along_px[row.near], row.near
    order = np.arange(z.shape[1])
    apart = np.abs(np.gradient(z, axis=1))  # heights fall on a scale that counts down
    done = np.zeros(len(z), dtype=bool)
    at = np.arange(len(z))  # those that are still followed
    settled, whole = np.zeros(len(z), dtype=bool), np.zeros(len(z), dtype=int)
    abc = np.zeros((len(z), 3))
    for turn in range(1, _MOST_TURNS + 1):
        now, zs = stroke[at], z[at]
        has = now >= 0
        new = ~settled[at]
        if new.any():
            abc[at[new]] = fit_rows(zs[new], row.along_px[now[new]], has[new], rounds=2)
        # a short row does not foretell what lies far beyond it: it is followed in steps
        ahead = turn * (3 + has.sum(axis=1) // 2)
        first = has.argmax(axis=1)
        last = len(order) - 1 - has[:, ::-1].argmax(axis=1)
        known = (order >= (first - ahead)[:, None]) & (order <= (last + ahead)[:, None])
        maps = abc[at]
        seen = ~((1.0 + maps[:, 2:] * zs <= _LEAST_BEND) & known).any(axis=1)
        at, now, zs, known, maps = at[seen], now[seen], zs[seen], known[seen], maps[seen]
        found = _gathered(there, near, zs, apart[at], maps, known)
        same = (found == now).all(axis=1)
        stroke[at], settled[at] = found, same
        whole[at] += known.all(axis=1)
        enough = (found >= 0).sum(axis=1) >= _FEWEST_MARKS
        # another turn would only say the same
        end = enough & ((whole[at] == 2) | (whole[at] > 0) & same)
        done[at[end]] = True
        if turn == _MOST_TURNS:
            done[at[enough & (whole[at] > 0)]] = True
        at = at[enough & ~end]
        if not len(at):
            break
    return stroke, done


def _gathered(there: np.ndarray, near: np.ndarray, z: np.ndarray, apart: np.ndarray,
              abc: np.ndarray, known: np.ndarray) -> np.ndarray:
    """(P, M) the stroke at the place of each mark that is ``known``; -1 where there is none."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        want = np.where(known, project_rows(abc, z), 0.0)
        gap = np.where(known, apart * np.abs(slope_rows(abc, z)), 0.0)
    after = np.minimum(np.searchsorted(there, want), len(there) - 1)
    before = np.maximum(after - 1, 0)
    off, off_before = np.abs(there[after] - want), np.abs(there[before] - want)
    j = np.where(off_before <= off, before, after)
    line, mark = np.nonzero(known & (np.minimum(off, off_before) < 0.2 * gap + 0.6))
    j = j[line, mark]
    # one stroke, one mark: of several at one place the first stays
    _, only = np.unique(line * len(there) + j, return_index=True)
    out = np.full(z.shape, -1)
    out[line[only], mark[only]] = near[j[only]]
    return out


class _Judged:
    """What speaks for and against pairings (P, M) that were followed to the end."""

    def __init__(self, row: Row, scale: Scale, z: np.ndarray, stroke: np.ndarray) -> None:
        self.row, self.stroke, self.has = row, stroke, stroke >= 0
        self.is_long = np.array([m.length == "long" for m in scale.marks])
        marks_mm = [m.height_mm for m in scale.marks]
        # marks on another radius may be of other lengths, too
        self.part = np.zeros(len(marks_mm), int) if scale.outline is None else np.asarray(
            scale.outline.part(marks_mm))
        if not len(z):
            self.whole = np.zeros(0, dtype=bool)
            return
        t = row.along_px[stroke]
        self.abc = fit_rows(z, t, self.has)
        self.whole = ~(1.0 + self.abc[:, 2:] * z <= _LEAST_BEND).any(axis=1)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            want, self.slope = project_rows(self.abc, z), np.abs(slope_rows(self.abc, z))
            off = np.where(self.has, t - want, 0.0)
            self.in_picture = (want > 2) & (want < row.picture_height_px - 3)
            pitch = median_along(np.abs(np.gradient(z, axis=1)) * self.slope, 1)
            misfit = 0.5 * np.minimum((off / (0.06 * pitch + 0.3)[:, None]) ** 2, 9.0).sum(axis=1)
        self.count = self.has.sum(axis=1)
        self.missed = self.in_picture.sum(axis=1) - self.count
        self.off_px = off
        # strokes of the chain that the scale leaves unexplained
        in_chain = np.zeros(len(row.along_px), dtype=bool)
        in_chain[row.chain.index] = True
        self.unmatched = int(in_chain.sum()) - (in_chain[stroke] & self.has).sum(axis=1)
        self.score = self.count * _LOG_SEEN + self.unmatched * _LOG_UNMATCHED - misfit

    def best_of(self, some: list[int]) -> Alignment | None:
        """The likeliest of some of them; None of none."""
        best: tuple[float, int] | None = None
        for k in some:
            most = float(self.score[k]) + self.count[k] * _LOG_CLASS_RIGHT
            if best is not None and most <= best[0]:
                continue  # whatever its lengths and what it misses
            score = float(self.score[k]) + self._missed_score(k) + self._length_score(k)
            if best is None or score > best[0]:
                best = score, k
        return None if best is None else self._alignment(best[1], best[0])

    def _alignment(self, k: int, score: float) -> Alignment:
        mark = np.flatnonzero(self.has[k])
        residual_px = MEDIAN_TO_SD * median(np.abs(self.off_px[k][mark]))
        return Alignment(mark, self.stroke[k][mark], self.abc[k], self.row.column, score,
                         residual_px, int(self.unmatched[k]), int(self.missed[k]))

    def _missed_score(self, k: int) -> float:
        """What the marks that should be seen and are not speak against a pairing.

        Small or pale short marks are missed all together and for one reason; they then
        count once, and the long ones each.  So do neighbours that a finger, a label or deep
        liquid hides: one reason, not many.
        """
        has, in_picture, is_long = self.has[k], self.in_picture[k], self.is_long
        missed = in_picture & ~has
        each = _runs_missed(missed)
        if np.count_nonzero(is_long & has) >= _MOSTLY * self.count[k]:
            each = max(each, _runs_missed(missed[is_long]) + _LOG_SHORT_UNSEEN)
        return each + np.count_nonzero(~in_picture) * float(_LOG_OUTSIDE)

    def _length_score(self, k: int) -> float:
        """How well the lengths of the strokes agree with the marks that they are taken for, of
        each radius on its own."""
        mark = np.flatnonzero(self.has[k])
        size = np.log(self.row.strokes.length_px[self.stroke[k][mark]] / self.slope[k][mark])
        is_long, part = self.is_long[mark], self.part[mark]
        return sum(_lengths_agree(size[part == one], is_long[part == one])
                   for one in sorted(set(part.tolist())))


def _lengths_agree(log_size: np.ndarray, is_long: np.ndarray) -> float:
    longish = split_two(log_size)
    if longish is not None:
        right = np.count_nonzero(longish == is_long)
        return float(right * _LOG_CLASS_RIGHT + (len(is_long) - right) * _LOG_CLASS_WRONG)
    if is_long.any() and not is_long.all():
        return len(is_long) * float(_LOG_CLASS_WRONG) * 0.3
    return 0.0


def _runs_missed(missed: np.ndarray) -> float:
    """The log-likelihood of marks missed, run by run: one by one, or hidden together."""
    if not missed.any():
        return 0.0
    length = np.diff(true_intervals(missed), axis=1).astype(float)
    return float(np.maximum(length * _LOG_MISSED, _LOG_COVERED + length * _LOG_STILL).sum())


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
    low, high = (float(s[n // 2 + a] + s[(n - 1) // 2 + a]) / 2
                 for n, a in ((split, 0), (len(s) - split, split)))
    if high - low < math.log(1.25):
        return None  # all alike, or hardly different
    return np.asarray(log_size > (high + low) / 2)

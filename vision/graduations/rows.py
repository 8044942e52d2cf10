"""Rows of evenly spaced parallel strokes: where a ladder of graduations may be.

From one pair of neighbours the row is followed up and down; the pitch may change
slowly from stroke to stroke (perspective), and strokes may be missing (fingers,
highlights).  What comes out is a count along the row, not yet a value.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass

import numpy as np

from vision.graduations.ridges import Strokes

#: A stroke may lie this far from its predicted place, in pitches.
_TOLERANCE = 0.22
#: So many strokes in a row may be missing before the row is taken to end.
_MAX_MISSING = 4
_MIN_STROKES = 6


@dataclass(frozen=True)
class Chain:
    """A row of strokes: indices into ``Strokes`` and their count along the row.

    ``count`` increases downward in the picture and leaves out the missing ones.
    """

    index: np.ndarray
    count: np.ndarray
    pitch_px: float

    def __len__(self) -> int:
        return len(self.index)


def find_chains(strokes: Strokes, *, min_pitch_px: float = 3.5) -> list[Chain]:
    """All disjoint rows with at least six strokes, the longest first."""
    n = len(strokes)
    if n < _MIN_STROKES:
        return []
    order = np.argsort(strokes.centre_px[:, 1])
    follower = _Follower(strokes, order)
    # Only when nothing comes of the nearest neighbours (something lies between
    # every two marks) is the second nearest tried.
    for nearest in (1, 2):
        rows = _all_rows(follower, order, nearest, min_pitch_px)
        if rows:
            return rows
    return []


def _all_rows(follower: _Follower, order: np.ndarray, nearest: int, min_pitch_px: float
              ) -> list[Chain]:
    """Every row that starts from a pair of neighbours; of overlapping ones the longest."""
    rows: list[Chain] = []
    tried: set[tuple[int, int]] = set()
    for i in order:
        for j in follower.below(int(i), min_pitch_px, nearest):
            if (int(i), j) in tried:
                continue
            row = follower.follow(int(i), j)
            tried.update(zip(row.index[:-1].tolist(), row.index[1:].tolist(), strict=True))
            if len(row) >= _MIN_STROKES:
                rows.append(row)
    rows.sort(key=len, reverse=True)
    free = np.ones(len(order), dtype=bool)
    chosen: list[Chain] = []
    for row in rows:
        if free[row.index].mean() > 0.8:
            chosen.append(row)
            free[row.index] = False
    return chosen[:4]


class _Follower:
    """Follows a row through the strokes sorted from top to bottom."""

    def __init__(self, strokes: Strokes, order: np.ndarray) -> None:
        (x, y), left, right = strokes.centre_px.T, strokes.left_px, strokes.right_px
        slope = (right[:, 1] - left[:, 1]) / np.maximum(right[:, 0] - left[:, 0], 1.0)
        # only a few strokes are ever near: plain numbers are faster here than arrays
        self.plain = tuple(a.tolist() for a in (x, y, slope, left[:, 0], right[:, 0]))
        self.plain_length: list[float] = strokes.length_px.tolist()
        self.plain_order: list[int] = order.tolist()
        self.plain_sorted: list[float] = y[order].tolist()

    def below(self, i: int, min_pitch_px: float, most: int) -> list[int]:
        """The nearest strokes under stroke i that share its columns, ``most`` of them at most."""
        _, y, slope, left, right = self.plain
        end = y[i] + max(4.0 * self.plain_length[i], 60.0)
        y_i, slope_i, left_i, right_i = y[i], slope[i], left[i], right[i]
        found: list[int] = []
        first = bisect_left(self.plain_sorted, y_i + 1.0)
        for place in range(first, bisect_left(self.plain_sorted, end)):
            j = self.plain_order[place]
            if right[j] <= left_i or left[j] >= right_i or y[j] - y_i < min_pitch_px:
                continue
            common = min(right_i, right[j]) - max(left_i, left[j])
            shorter = min(right_i - left_i, right[j] - left[j])
            if common / max(shorter, 1.0) > 0.6 and abs(slope[j] - slope_i) < 0.25:
                found.append(j)
                if len(found) == most:
                    break
        return found

    def _pick(self, last: int, step_x: float, step_y: float, pitch: float) -> int | None:
        """The stroke nearest to last + step, within the tolerance."""
        x, y, slope, left, right = self.plain
        target_x, target_y, slope_last = x[last] + step_x, y[last] + step_y, slope[last]
        left_there, right_there = left[last] + step_x, right[last] + step_x
        reach = _TOLERANCE * pitch + abs(slope_last) * 0.6 * self.plain_length[last] + 1.0
        first = bisect_left(self.plain_sorted, target_y - reach)
        best, best_off = None, _TOLERANCE + 1.2 / pitch
        for k in self.plain_order[first:bisect_left(self.plain_sorted, target_y + reach, first)]:
            # in most pictures most strokes are elsewhere across
            if right[k] <= left_there or left[k] >= right_there or k == last or (
                    abs(slope[k] - slope_last) >= 0.3):
                continue
            # Compare where the two strokes cross the same column: a long and a
            # short mark have different centres.
            off = abs(y[k] + slope[k] * (target_x - x[k]) - target_y) / pitch
            if off >= best_off:
                continue
            common = min(right_there, right[k]) - max(left_there, left[k])
            if common > 0.6 * min(right[last] - left[last], right[k] - left[k]):
                best, best_off = k, off
        return best

    def follow(self, i: int, j: int) -> Chain:
        """The row through i and j, followed down from j and up from i."""
        x, y, slope, _, _ = self.plain
        # where stroke j (its own line continued) crosses the column of i
        pitch_y = y[j] + slope[j] * (x[i] - x[j]) - y[i]
        down = self._run(j, pitch_y, +1)
        up = self._run(i, pitch_y, -1)
        index = [k for k, _ in reversed(up)] + [i, j] + [k for k, _ in down]
        count = [c for _, c in reversed(up)] + [0, 1] + [1 + c for _, c in down]
        return Chain(np.array(index), np.array(count), abs(pitch_y))

    def _run(self, start: int, pitch_y: float, sign: int) -> list[tuple[int, int]]:
        """(stroke, count from start) in one direction."""
        x, y, slope, _, _ = self.plain
        found: list[tuple[int, int]] = []
        taken: set[int] = set()
        last, count, missing = start, 0, 0
        step_x, step_y = 0.0, pitch_y
        while missing <= _MAX_MISSING:
            ahead = sign * (missing + 1)
            k = self._pick(last, ahead * step_x, ahead * step_y, math.hypot(step_x, step_y))
            if k is None or k in taken:
                missing += 1
                continue
            moved = y[k] + slope[k] * (x[last] + ahead * step_x - x[k]) - y[last]
            step_y += 0.35 * (moved / ahead - step_y)
            if 0.7 < self.plain_length[k] / self.plain_length[last] < 1.4:
                step_x += 0.2 * ((x[k] - x[last]) / ahead - step_x)
            count += ahead
            found.append((k, count))
            taken.add(k)
            last, missing = k, 0
            if len(found) > 400 or step_y < 1.0:
                break
        return found

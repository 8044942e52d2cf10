"""Rows of evenly spaced parallel strokes: where a ladder of graduations may be.

From one pair of neighbours the row is followed up and down; the pitch may change
slowly from stroke to stroke (perspective), and strokes may be missing (fingers,
highlights).  What comes out is a count along the row, not yet a value.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.strokes import Strokes

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
    free = np.ones(len(order), dtype=bool)
    rows: list[Chain] = []
    tried: set[tuple[int, int]] = set()
    for i in order:
        for j in follower.below(int(i), free, min_pitch_px)[:nearest]:
            if (int(i), j) in tried:
                continue
            row = follower.follow(int(i), j, free)
            tried.update(zip(row.index[:-1].tolist(), row.index[1:].tolist(), strict=True))
            if len(row) >= _MIN_STROKES:
                rows.append(row)
    rows.sort(key=len, reverse=True)
    chosen: list[Chain] = []
    for row in rows:
        if free[row.index].mean() > 0.8:
            chosen.append(row)
            free[row.index] = False
    return chosen[:4]


class _Follower:
    """Follows a row through the strokes sorted from top to bottom."""

    def __init__(self, strokes: Strokes, order: np.ndarray) -> None:
        self.x = strokes.centre_px[:, 0]
        self.y = strokes.centre_px[:, 1]
        self.x0 = strokes.left_px[:, 0]
        self.x1 = strokes.right_px[:, 0]
        self.slope = (strokes.right_px[:, 1] - strokes.left_px[:, 1]) / np.maximum(
            self.x1 - self.x0, 1.0)
        self.length = strokes.length_px
        self.order = order
        self.sorted_y = self.y[order]

    def _at(self, i: int, x: float) -> float:
        """Height of stroke i in the picture at column x (its own line continued)."""
        return float(self.y[i] + self.slope[i] * (x - self.x[i]))

    def _overlap(self, i: int, j: np.ndarray) -> np.ndarray:
        """Common columns of i and each j as a share of the shorter one."""
        common = np.minimum(self.x1[i], self.x1[j]) - np.maximum(self.x0[i], self.x0[j])
        shorter = np.minimum(self.x1[i] - self.x0[i], self.x1[j] - self.x0[j])
        return common / np.maximum(shorter, 1.0)

    def below(self, i: int, free: np.ndarray, min_pitch_px: float) -> list[int]:
        """The two nearest free strokes under stroke i that share its columns."""
        reach = max(4.0 * self.length[i], 60.0)
        lo = np.searchsorted(self.sorted_y, self.y[i] + 1.0)
        hi = np.searchsorted(self.sorted_y, self.y[i] + reach)
        near = self.order[lo:hi]
        near = near[free[near]]
        if len(near) == 0:
            return []
        ok = (self._overlap(i, near) > 0.6) & (np.abs(self.slope[near] - self.slope[i]) < 0.25)
        gap = self.y[near] - self.y[i]
        ok &= gap >= min_pitch_px
        return [int(j) for j in near[ok][:2]]

    def _pick(self, last: int, step: np.ndarray, free: np.ndarray,
              pitch: float) -> tuple[int, float] | None:
        """The stroke nearest to last + step, within the tolerance."""
        target_y = self.y[last] + step[1]
        reach = _TOLERANCE * pitch + abs(self.slope[last]) * 0.6 * self.length[last] + 1.0
        lo = np.searchsorted(self.sorted_y, target_y - reach)
        hi = np.searchsorted(self.sorted_y, target_y + reach)
        near = self.order[lo:hi]
        near = near[free[near] & (near != last)]
        if len(near) == 0:
            return None
        target_x = self.x[last] + step[0]
        # Compare where the two strokes cross the same column: a long and a
        # short mark have different centres.
        y_here = self.y[near] + self.slope[near] * (target_x - self.x[near])
        off = np.abs(y_here - target_y) / pitch
        shift = step[0]
        common = (np.minimum(self.x1[last] + shift, self.x1[near])
                  - np.maximum(self.x0[last] + shift, self.x0[near]))
        shorter = np.minimum(self.x1[last] - self.x0[last], self.x1[near] - self.x0[near])
        ok = (off < _TOLERANCE + 1.2 / pitch) & (common > 0.6 * shorter)
        ok &= np.abs(self.slope[near] - self.slope[last]) < 0.3
        if not ok.any():
            return None
        k = np.flatnonzero(ok)
        best = k[np.argmin(off[k])]
        return int(near[best]), float(off[best])

    def follow(self, i: int, j: int, free: np.ndarray) -> Chain:
        """The row through i and j, followed down from j and up from i."""
        pitch_y = self._at(j, self.x[i]) - self.y[i]
        first = np.array([0.0, pitch_y])
        down = self._run(j, first, free, +1)
        up = self._run(i, first, free, -1)
        index = [k for k, _ in reversed(up)] + [i, j] + [k for k, _ in down]
        count = [c for _, c in reversed(up)] + [0, 1] + [1 + c for _, c in down]
        return Chain(np.array(index), np.array(count), abs(pitch_y))

    def _run(self, start: int, step: np.ndarray, free: np.ndarray,
             sign: int) -> list[tuple[int, int]]:
        """(stroke, count from start) in one direction."""
        found: list[tuple[int, int]] = []
        last, count, missing = start, 0, 0
        step = step.copy()
        while missing <= _MAX_MISSING:
            ahead = sign * step * (missing + 1)
            pitch = float(np.hypot(*step))
            hit = self._pick(last, ahead, free, pitch)
            if hit is None or any(hit[0] == k for k, _ in found):
                missing += 1
                continue
            k = hit[0]
            moved = self._at(k, self.x[last] + ahead[0]) - self.y[last]
            new_pitch = sign * moved / (missing + 1)
            step[1] += 0.35 * (new_pitch - step[1])
            if 0.7 < self.length[k] / self.length[last] < 1.4:
                step[0] += 0.2 * (sign * (self.x[k] - self.x[last]) / (missing + 1) - step[0])
            count += sign * (missing + 1)
            found.append((k, count))
            last, missing = k, 0
            if len(found) > 400 or step[1] < 1.0:
                break
        return found

"""How a round pole leans towards the phone, from everything that runs along it.

Whatever is seen on a straight round pole runs parallel to its axis: its two sides,
its shading and, since a mirror leaves the part of a ray along the axis as it is, the
reflections of lamps and windows as well.  In the photo the whole band therefore only
shifts and widens in proportion to the height, whatever it looks like, and how much it
widens says how the pole leans.  This holds for poles whose outline cannot be told from
a reflection, too.

The band is cut into pieces one above the other.  In narrow windows across it the
pieces are laid on their common picture (the best one of rank one: C. Eckart, G. Young,
Psychometrika 1, 1936, 211), each with a brightness and contrast of its own, since the
light on a pole and the room behind it change along it.  How fast a stripe moves from
piece to piece is then a straight line over its place across the band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.imaging.radiometry import LINEAR
from vision.robust import RobustFit, fit_linear, spread
from vision.vertical.cue import line_x, pieces_of

_CHUNK_PX = 32
#: Where the band is looked at, in halves of its width from its middle: first of all, then
#: (the lines may be reflections well inside the pole), and as far as it is sampled.
_INNER, _WIDE, _OUTER = 1.15, 1.6, 2.4
#: How far the given lines may be off at their ends: shift and widening, px.
_SHIFT_PX, _WIDEN_PX = 8.0, 3.2
#: Half of the windows' width, px: the answer must not hang on it.
_WINDOWS_PX = (4.0, 2.5)
#: Fewest pieces of a band, and fewest windows.
_PIECES, _PLACES = 8, 4
#: A piece counts in a window when its stripe is placed there to a px.
_SURE = 1.0
#: A band that moves by less than this has settled, px: a tenth of what it is ever sure to.
_SETTLED_PX = 0.015
#: By how much two widenings may differ, how unsure one may be, and how far light that
#: changes along the pole moves both of them, px (from drawn rooms).
_APART_PX, _UNSURE_PX, _LIGHT_PX = 0.5, 0.6, 0.35
#: How much of what a stripe leaves unexplained may pull at its place (a factor).
_OTHER = 2.0
#: A stripe explains this much more than noise would.
_CLEAR = 3.0
#: Noise that is there even where the picture is clipped, in 1/255 of white.
_LEAST_NOISE = 0.2


@dataclass(frozen=True)
class Band:
    """The band between two lines parallel to the pole's axis, (2, 2) px each.

    ``sd_px`` is the standard uncertainty of each of the four ends.  The outline of
    the pole the lines need not be.
    """

    left_px: np.ndarray
    right_px: np.ndarray
    sd_px: float


def follow_band(rgb: np.ndarray, left_px: np.ndarray, right_px: np.ndarray,
                hidden: tuple[float, float] | None) -> Band | None:
    """The two lines (2, 2) turned so that they run with the stripes of the band between.

    They should be good to some pixels at any height; ``hidden`` is the (top, bottom)
    between which something covers the pole.  None when the stripes do not agree on it.
    """
    pieces = _pieces(rgb, left_px, right_px, hidden)
    if pieces is None:
        return None
    start = pieces.roughly()
    sure: list[tuple[float, float, float]] = []
    for window in _WINDOWS_PX:
        found = pieces.settled(start, window)
        if found is None or found[2] >= _UNSURE_PX:
            return None
        sure.append(found)
    apart = abs(sure[0][1] - sure[1][1])
    if apart > _APART_PX:
        return None
    shift, widen, sd = (float(v) for v in np.mean(sure, axis=0))
    ends = pieces.y[[0, -1]]
    middle = (line_x(left_px, ends) + line_x(right_px, ends)) / 2 + shift * pieces.t[[0, -1]]
    half = (line_x(right_px, ends) - line_x(left_px, ends) + widen * pieces.t[[0, -1]]) / 2
    # The widening is made of four ends.
    return Band(np.column_stack([middle - half, ends]), np.column_stack([middle + half, ends]),
                math.hypot(sd, apart / 2, _LIGHT_PX) / 2)


@dataclass(frozen=True)
class _Pieces:
    """Profiles across the band, (K, N, 3), sampled at ``u`` (N,) halves of its width.

    ``y`` (K,) are their heights, ``gap`` (K,) the widths there in px; ``t`` grows by
    one from the first to the last.
    """

    profiles: np.ndarray
    u: np.ndarray
    y: np.ndarray
    gap: np.ndarray

    @property
    def t(self) -> np.ndarray:
        return np.asarray((self.y - self.y.mean()) / np.ptp(self.y))

    def within(self, reach: float) -> np.ndarray:
        """(M,) places across the band, in halves of its width."""
        return np.asarray(self.u[np.abs(self.u) <= reach])

    def at(self, move: np.ndarray, reach: float) -> np.ndarray:
        """(K, M, 3) profiles across a band that is moved: (shift, widening) in px."""
        import cv2

        shift, widen = move
        where = (2 * shift * self.t / self.gap)[:, None] + self.within(reach) * (
            1 + widen * self.t / self.gap)[:, None]
        column = (where - self.u[0]) / (self.u[1] - self.u[0])
        row = np.broadcast_to(np.arange(len(self.y))[:, None], column.shape)
        return np.asarray(cv2.remap(self.profiles, column.astype(np.float32),
                                    row.astype(np.float32), cv2.INTER_CUBIC,
                                    borderMode=cv2.BORDER_REPLICATE), dtype=float)

    def roughly(self) -> np.ndarray:
        """(shift, widening), px, under which the pieces look most alike as a whole."""
        grid = [np.array([s, w]) for s in np.arange(-_SHIFT_PX, _SHIFT_PX + 0.1, 1.0)
                for w in np.arange(-_WIDEN_PX, _WIDEN_PX + 0.1, 0.8)]
        return min(grid, key=lambda p: _unlike(self.at(p, _INNER)))

    def settled(self, start: np.ndarray, window_px: float) -> tuple[float, float, float] | None:
        """(shift, widening, sd of the widening) in px, or None."""
        here, sd = start, math.inf
        for _ in range(8):
            step = self._step(here, window_px)
            if step is None:
                return None
            here, sd = here + np.clip(step[0], -1.0, 1.0), step[1]
            if np.abs(step[0]).max() < _SETTLED_PX:
                break
        if abs(here[0]) > _SHIFT_PX + 2 or abs(here[1]) > _WIDEN_PX + 1:
            return None
        return float(here[0]), float(here[1]), sd

    def _step(self, here: np.ndarray, window_px: float) -> tuple[np.ndarray, float] | None:
        """How much further to shift and widen (2,), and the sd of the widening, px."""
        profiles, u = self.at(here, _WIDE), self.within(_WIDE)
        px = float(np.median(self.gap)) / 2 * (u[1] - u[0])
        n = int(round(2 * window_px / px)) + 1
        if n < 5 or n > len(u):
            return None
        places, slopes, variances = [], [], []
        for first in range(0, len(u) - n + 1, max(1, n // 4)):
            found = _slope(profiles[:, first: first + n], px, self.t)
            if found is not None:
                places.append(float(u[first: first + n].mean()) / 2)
                slopes.append(found[0])
                variances.append(found[1])
        if len(slopes) < _PLACES:
            return None
        return _line_of(np.array(places), np.array(slopes), np.array(variances))


def _unlike(profiles: np.ndarray) -> float:
    """Share of what is seen that one common profile leaves unexplained, 0 to 1."""
    flat = (profiles - profiles.mean(axis=1, keepdims=True)).reshape(len(profiles), -1)
    values = np.linalg.eigvalsh(flat @ flat.T)
    return 1 - float(values[-1]) / max(float(values.sum()), 1e-9)


def _slope(piece: np.ndarray, px: float, t: np.ndarray) -> tuple[float, float] | None:
    """(slope, its variance): by how many px a stripe moves from t = 0 to t = 1.

    ``piece`` (K, n, 3) is a narrow part of the profiles, ``px`` the distance of its
    samples.  None where nothing is seen that has a place.
    """
    root = np.sqrt(np.hanning(piece.shape[1] + 2)[1:-1])[:, None]

    def bare(x: np.ndarray) -> np.ndarray:
        level = (x * root**2).sum(axis=-2, keepdims=True) / (root**2).sum()
        return np.asarray((x - level) * root)

    flat = bare(piece).reshape(len(piece), -1)
    # From the side of the pieces, which are fewer than the samples: the same pair of vectors.
    values, vectors = np.linalg.eigh(flat @ flat.T)
    if values[-1] <= 0:
        return None
    gain = vectors[:, -1] * math.sqrt(float(values[-1]))
    stripe = flat.T @ gain / float(values[-1])
    rest = flat - np.outer(gain, stripe)
    common = np.tensordot(gain / max(float(gain @ gain), 1e-12), piece, 1)
    moved = bare(np.gradient(common, px, axis=0)).ravel()
    moved = moved - stripe * float(moved @ stripe)
    sharp = float(moved @ moved)
    noise = float(spread(rest)) ** 2 + _LEAST_NOISE**2
    # The largest singular value that noise alone would have (V. A. Marchenko, L. A. Pastur,
    # Math. USSR Sbornik 1, 1967, 457).
    chance = (math.sqrt(len(flat)) + math.sqrt(flat.shape[1])) ** 2 * noise
    if values[-1] < _CLEAR * chance:
        return None
    weight = gain**2 * sharp / noise
    good = weight > _SURE
    if good.sum() < _PIECES or np.ptp(t[good]) < 0.5:
        return None
    delta = -(rest[good] @ moved) / gain[good] / sharp
    fit, variance = _robust_slope(t[good], delta, weight[good])
    # What the pieces show beside the stripe (light on the pole and what lies behind it
    # change apart from each other) can look like a movement as well.
    other = max(float(values[-2]) - chance, 0.0) / float(values[-1])
    return fit, variance + _OTHER * other / sharp


def _robust_slope(t: np.ndarray, delta: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    """Slope of ``delta`` over ``t`` and its variance from the scatter of the pieces."""
    basis = np.column_stack([np.ones(len(t)), t])
    fit = fit_linear(basis, delta, weight=np.minimum(weight, 10 * np.median(weight)), turn=2.5,
                     least_spread=0.0, added_spread=0.01, rounds=6)
    _, variance = _sandwich(basis, fit)
    return float(fit.parameters[1]), float(variance[1, 1]) * len(t) / (len(t) - 2)


def _sandwich(rows: np.ndarray, fit: RobustFit) -> tuple[np.ndarray, np.ndarray]:
    """(2, 2) inverse of the normal matrix, and the covariance that the scatter shows.

    P. J. Huber, Proc. 5th Berkeley Symp. 1, 1967, 221.
    """
    inverse = np.linalg.inv(rows.T @ (rows * fit.weight[:, None]))
    pull = rows * (fit.weight * fit.residual)[:, None]
    return inverse, inverse @ (pull.T @ pull) @ inverse


def _line_of(place: np.ndarray, slope: np.ndarray, variance: np.ndarray
             ) -> tuple[np.ndarray, float] | None:
    """(shift, widening) and the widening's sd, from the slopes of the stripes.

    Stripes that follow something else than the pole are let go; the scatter of the
    others counts four times, since windows overlap by three quarters.
    """
    sd = np.sqrt(variance + 0.05**2)
    rows = np.column_stack([np.ones(len(place)), place]) / sd[:, None]
    fit = fit_linear(rows, slope / sd, turn=2.5, least_spread=1.0, rounds=12)
    if np.linalg.cond(rows.T @ (rows * fit.weight[:, None])) > 1e8:
        return None
    inverse, scatter = _sandwich(rows, fit)
    return fit.parameters, float(np.sqrt(4 * scatter[1, 1] + inverse[1, 1]))


def _pieces(rgb: np.ndarray, left_px: np.ndarray, right_px: np.ndarray,
            hidden: tuple[float, float] | None) -> _Pieces | None:
    """The band's profiles, piece by piece; None when too little of it is in the photo.

    In linear light: blur moves an edge between bright and dark in the code values.
    """
    import cv2

    height, width = rgb.shape[:2]
    middle_y = np.array([height / 2.0])
    half = float(line_x(right_px, middle_y)[0] - line_x(left_px, middle_y)[0]) / 2
    if half < 3:
        return None
    u = np.linspace(-_OUTER, _OUTER, 2 * int(min(_OUTER * half / 0.5, 160)) + 1)
    profiles, heights, gaps = [], [], []
    for y0 in pieces_of(height, _CHUNK_PX, hidden):
        y = np.arange(y0, y0 + _CHUNK_PX, dtype=float)
        left, right = line_x(left_px, y), line_x(right_px, y)
        x = (left + right)[:, None] / 2 + u * (right - left)[:, None] / 2
        if x.min() < 1 or x.max() > width - 2 or (right - left).min() < 5:
            continue
        low = int(x.min()) - 1
        part = 255 * LINEAR[rgb[y0: y0 + _CHUNK_PX, low: int(x.max()) + 3]]
        rows = cv2.remap(part, (x - low).astype(np.float32), np.broadcast_to(
            (y - y0)[:, None], x.shape).astype(np.float32), cv2.INTER_LINEAR)
        profiles.append(rows.astype(np.float32).mean(axis=0))
        heights.append(float(y.mean()))
        gaps.append(float((right - left).mean()))
    if len(heights) < _PIECES or np.ptp(heights) < 0.3 * height:
        return None
    return _Pieces(np.array(profiles), u, np.array(heights), np.array(gaps))

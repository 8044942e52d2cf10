"""Both sides of a round pole, measured along its whole visible length.

The outline of a cylinder is two straight lines; the planes through the lens and
each of them meet in the direction of its axis.  How the sides converge therefore
says how the pole leans towards or away from the phone, if its width is measured
finely and far up and down.

A shiny pole has reflections inside its outline that are stronger than the
outline itself.  Each place is therefore judged by a model of an outline: even
background outside, something smooth inside, a blurred step between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vision.imaging.radiometry import LINEAR, LUMINANCE
from vision.robust import fit_linear, spread
from vision.vertical.cue import RoughDown, line_x, meeting_axis, pieces_of, shared_y

_CHUNK_PX = 48
_REACH_PX = 16.0
_STEP = 0.5
_OFFSETS = np.arange(-_REACH_PX, _REACH_PX + 0.01, _STEP)
_OUTSIDE_PX, _INSIDE_PX = 8.0, 4.0
_CAP, _SEEN = 12.0, 4.0
_APART_PX, _ECHO, _ECHO_PX = 2.0, 0.3, 6.0
#: How far pole and rough downward direction may differ at the most, in sigmas.
_LEAN_MOST = 4.0
#: Shading moves the ends of an edge on a round pole across it, one sigma, px.
_EDGE_PX = 0.45
#: An edge that wanders across a pole is held against it up to so many sigmas.
_STRAYS_MOST = 3.0


@dataclass(frozen=True)
class OutlineSide:
    """One side: (2, 2) upper and lower end of the fitted line, px, and the sd at each end."""

    ends_px: np.ndarray
    sd_px: float
    support: float


def pole_outline(rgb: np.ndarray, left_px: np.ndarray, right_px: np.ndarray,
                 hidden: tuple[float, float] | None, down: RoughDown, thin_px: float,
                 along: list[tuple[np.ndarray, float]]) -> tuple[OutlineSide, OutlineSide] | None:
    """Both sides of a pole, followed over the height of the photo.

    ``left_px``, ``right_px`` (2, 2) say where they should be, good to some pixels
    at any height; ``hidden`` is the (top, bottom) between which something covers
    the pole.  Of all pairs of lines that the picture supports the one is taken
    that is best seen and converges about as ``down`` (3,) asks, which differs from
    the pole by ``down_sd_deg`` (one sigma); a pole is at least ``thin_px`` wide.
    ``along`` are the edges (2, 2) by which the pole was found, each with the standard
    uncertainty of its ends: they run along it as well.  None when no pair is seen well enough.
    """
    left = _lines_near(rgb, left_px, -1, hidden)
    right = _lines_near(rgb, right_px, 1, hidden)
    expected = float(np.ptp([line_x(line, np.array([rgb.shape[0] / 2.0]))[0]
                             for line in (left_px, right_px)]))
    best: tuple[float, OutlineSide, OutlineSide] | None = None
    for a in left:
        for b in right:
            y = shared_y(a.ends_px, b.ends_px)
            gap = line_x(b.ends_px, y) - line_x(a.ends_px, y)
            if gap.min() < max(0.6 * expected, thin_px) or gap.max() > 1.7 * expected:
                continue
            axis = meeting_axis(a.ends_px, b.ends_px, down.camera)
            off = np.degrees(_angle(axis, down.direction))
            score = a.support + b.support - 0.5 * (off / down.sd_deg) ** 2 * _CAP
            score -= 0.5 * sum(_strays(a.ends_px, b.ends_px, *e) ** 2 for e in along) * _CAP
            if off < _LEAN_MOST * down.sd_deg and (best is None or score > best[0]):
                best = (score, a, b)
    return None if best is None else best[1:]


def _strays(left: np.ndarray, right: np.ndarray, line: np.ndarray, sd_px: float) -> float:
    """How far a line wanders across a pole with these sides (2, 2), in sigmas.

    What runs along a round pole keeps its place across it.  A line may also belong to
    something else, so that it says no more than ``_STRAYS_MOST``.
    """
    y = shared_y(left, right)
    gap = line_x(right, y) - line_x(left, y)
    place = (line_x(line, y) - line_x(left, y)) / gap
    noise = slant_sd_px(line, math.hypot(sd_px, _EDGE_PX), y)
    return float(min(abs(np.diff(place)[0]) * gap.mean() / noise, _STRAYS_MOST))


def slant_sd_px(line: np.ndarray, sd_px: float, y: np.ndarray) -> float:
    """By how much noise ``sd_px`` at a line's (2, 2) ends moves it from one height to another."""
    return float(math.sqrt(2) * sd_px * np.ptp(y) / np.ptp(line[:, 1]))


def leans_like_a_pole(left_px: np.ndarray, right_px: np.ndarray, sd_px: float, down: RoughDown
                      ) -> bool:
    """True when two lines (2, 2) of the photo meet about where ``down`` says.

    Each of their four ends is good to ``sd_px``; five sigmas of both together are let
    pass.  A tighter bound would let pass only what repeats the fault of ``down``: whether
    both can be true is asked where all cues meet.
    """
    axis = meeting_axis(left_px, right_px, down.camera)
    variance = down.sd_deg**2
    for line in (0, 1):
        for end in (0, 1):
            moved = [left_px.copy(), right_px.copy()]
            moved[line][end, 0] += sd_px
            variance += np.degrees(_angle(meeting_axis(moved[0], moved[1], down.camera), axis)) ** 2
    return bool(np.degrees(_angle(axis, down.direction)) < 5 * math.sqrt(variance))


def _angle(a: np.ndarray, b: np.ndarray) -> float:
    """Angle (rad, 0 to 90 degrees) between two undirected unit vectors."""
    return float(np.arccos(np.clip(abs(a @ b), 0, 1)))


def _lines_near(rgb: np.ndarray, line_px: np.ndarray, outward: int,
                hidden: tuple[float, float] | None) -> list[OutlineSide]:
    """Straight lines near the expected one that are seen all along, best first."""
    rows: list[np.ndarray] = []
    middles: list[float] = []
    for y0 in pieces_of(rgb.shape[0], _CHUNK_PX, hidden):
        evidence = _evidence(rgb, line_px, outward, y0)
        if evidence is not None:
            rows.append(evidence)
            middles.append(y0 + (_CHUNK_PX - 1) / 2)
    if len(rows) < 5:
        return []
    evidence, y = np.array(rows), np.array(middles)
    fits = (_refined(evidence, y, chosen, line_px, outward)
            for chosen in _candidates(evidence, y))
    return [f for f in fits if f is not None]


@lru_cache(maxsize=4)
def _models(sigma: float) -> tuple[np.ndarray, np.ndarray]:
    """Residual projectors (n, n) of an outline at the window's origin, and of no outline."""
    from scipy.special import ndtr

    u = np.arange(-_OUTSIDE_PX, _INSIDE_PX + 0.01, _STEP)
    step = ndtr(u / sigma)
    ramp = np.maximum(u, 0.0)
    full = np.column_stack([np.ones(len(u)), u, step, ramp, ramp**2])
    bare = np.column_stack([np.ones(len(u)), u, u**2])
    out = []
    for basis in (full, bare):
        q = np.linalg.qr(basis)[0]
        out.append(np.eye(len(u)) - q @ q.T)
    return out[0], out[1]


def _evidence(rgb: np.ndarray, line: np.ndarray, outward: int, y0: int) -> np.ndarray | None:
    """How much an outline at each of ``_OFFSETS`` (outwards positive) explains, in sigmas."""
    import cv2

    y = np.arange(y0, y0 + _CHUNK_PX)
    # From outside inwards: the window's first sample is the outermost one.
    k = np.arange(_REACH_PX + _OUTSIDE_PX, -_REACH_PX - _INSIDE_PX - 0.01, -_STEP)
    x = line_x(line, y)[:, None] + outward * k[None, :]
    x_low, x_high = int(x.min()) - 2, int(x.max()) + 3
    if x_low < 0 or x_high > rgb.shape[1]:
        return None
    part = LINEAR[rgb[y0: y0 + _CHUNK_PX, x_low:x_high]]
    planes = np.dstack([part @ LUMINANCE, part[..., 0] - part[..., 1], part[..., 2] - part[..., 1]])
    rows = cv2.remap(planes, (x - x_low).astype(np.float32), np.broadcast_to(
        (y - y0)[:, None], x.shape).astype(np.float32), cv2.INTER_LINEAR)
    profile = rows.mean(axis=0)
    noise = spread(np.diff(rows, axis=0), axis=(0, 1)) / np.sqrt(2)
    noise = noise / np.sqrt(_CHUNK_PX / 3) + 1e-3
    scaled = profile / noise
    n = int(round((_OUTSIDE_PX + _INSIDE_PX) / _STEP)) + 1
    windows = np.lib.stride_tricks.sliding_window_view(scaled, n, axis=0)  # (m, 3, n)
    best = np.zeros(len(_OFFSETS))
    for sigma in (0.8, 1.5):
        full, bare = _models(sigma)
        with_edge = np.einsum("mcn,nk,mck->m", windows, full, windows)
        without = np.einsum("mcn,nk,mck->m", windows, bare, windows)
        gain = np.maximum(without - with_edge, 0) / np.maximum(with_edge / (3 * (n - 5)), 1.0)
        best = np.maximum(best, np.sqrt(gain)[::-1])
    return best


def _candidates(evidence: np.ndarray, y: np.ndarray) -> list[np.ndarray]:
    """(2,) offsets at the first and the last chunk of the best supported lines."""
    t = (y - y[0]) / (y[-1] - y[0])
    grid = np.arange(-_REACH_PX + 1, _REACH_PX - 0.99, _STEP)
    first, last = np.meshgrid(grid, grid, indexing="ij")
    keep = np.abs(first - last) < 14
    pairs = np.column_stack([first[keep], last[keep]])
    at = pairs[:, :1] * (1 - t) + pairs[:, 1:] * t
    j = np.clip(np.rint((at + _REACH_PX) / _STEP).astype(int), 0, evidence.shape[1] - 1)
    row = np.arange(len(y))[None, :]
    # Peaks only: beside a strong edge the model finds weak echoes of it.
    peak = (evidence >= _highest_within(evidence, _APART_PX)) & (evidence > _SEEN) & (
        evidence > _ECHO * _highest_within(evidence, _ECHO_PX))
    near = np.pad(peak, ((0, 0), (1, 1)))
    on_peak = (near[:, :-2] | near[:, 1:-1] | near[:, 2:])[row, j]
    got = np.minimum(evidence, _CAP)[row, j]
    support = np.mean(on_peak, axis=1)
    score = np.sum(got * on_peak, axis=1) * (support >= 0.5)
    out: list[np.ndarray] = []
    best = score.max()
    while len(out) < 12 and score.max() > 0.4 * best and best > 0:
        k = int(np.argmax(score))
        out.append(pairs[k])
        score[np.abs(pairs - pairs[k]).max(axis=1) < 1.1] = 0
    return out


def _highest_within(evidence: np.ndarray, reach_px: float) -> np.ndarray:
    """Highest evidence of the same chunk within some pixels of each offset."""
    from scipy.ndimage import maximum_filter1d

    return np.asarray(maximum_filter1d(evidence, 2 * int(round(reach_px / _STEP)) + 1, axis=1))


def _refined(evidence: np.ndarray, y: np.ndarray, chosen: np.ndarray, line: np.ndarray,
             outward: int) -> OutlineSide | None:
    """Sub-pixel peaks near the chosen line, fitted anew."""
    t = (y - y[0]) / (y[-1] - y[0])
    points, sds, tops = [], [], []
    for row, ti, yi in zip(evidence, t, y, strict=True):
        want = chosen[0] * (1 - ti) + chosen[1] * ti
        window = np.flatnonzero(np.abs(_OFFSETS - want) < 1.6)
        window = window[(window > 0) & (window < len(row) - 1)]
        if len(window) == 0:
            continue
        j = int(window[np.argmax(row[window])])
        a, b, c = row[j - 1: j + 2]
        if b < a or b < c or b < _SEEN:
            continue
        curve = a - 2 * b + c
        shift = 0.5 * (a - c) / curve if curve < 0 else 0.0
        outer = outward * (_OFFSETS[j] + _STEP * float(shift))
        points.append((float(line_x(line, yi)) + outer, yi))
        sds.append(float(np.hypot(0.1, 1.5 / b)))
        tops.append(float(b))
    if len(points) < 5:
        return None
    return _line(np.array(points), np.array(sds), float(sum(min(b, _CAP) for b in tops)))


def _line(p: np.ndarray, sd: np.ndarray, support: float) -> OutlineSide | None:
    """Robust line through chunk points."""
    top, low = float(p[:, 1].min()), float(p[:, 1].max())
    if low - top < 6 * _CHUNK_PX:
        return None
    t = (p[:, 1] - top) / (low - top)
    rows = np.column_stack([1 - t, t]) / sd[:, None]
    fit = fit_linear(rows, p[:, 0] / sd, loss="geman-mcclure", turn=2.0, least_spread=1.0,
                     rounds=12)
    good = fit.trust > 0.09
    if good.sum() < 4 or good.mean() < 0.5 or fit.spread > 8:
        return None
    covariance = np.linalg.inv(rows.T @ (rows * fit.trust[:, None])) * fit.spread**2
    line = np.column_stack([fit.parameters, [top, low]])
    return OutlineSide(line, float(np.sqrt(np.mean(np.diag(covariance)))), support)

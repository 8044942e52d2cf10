"""Long straight edges of a photo, near a wanted direction, to sub-pixel accuracy.

Segments come from OpenCV's line segment detector (R. Grompone von Gioi et al.,
LSD: a line segment detector, IPOL 2, 2012) or, where a build lacks it, from the
Hough transform; collinear ones are joined and the joined line is fitted anew to
half-way crossings of the light, so the detector's own accuracy does not matter.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from vision.robust import fit_linear
from vision.vertical.cue import line_x

_REACH_PX = 5.0
#: Segments are looked for in a picture of this long side; the fit uses all pixels.
_SEARCH_SIDE_PX = 1000


@dataclass(frozen=True)
class StraightEdge:
    """A straight edge fitted to sub-pixel points.

    ``ends_px`` (2, 2) are the upper and the lower end on the fitted line,
    ``pieces`` the parts (start, stop) of it that were really seen, as fractions
    from the upper end; ``sign`` is +1 where it gets brighter towards larger x,
    0 when the parts differ; ``sd_px`` is the standard uncertainty across the
    line at each end.
    """

    ends_px: np.ndarray
    pieces: tuple[tuple[float, float], ...]
    sign: int
    sd_px: float

    @property
    def length_px(self) -> float:
        """Distance of the two ends."""
        return float(np.linalg.norm(self.ends_px[1] - self.ends_px[0]))

    @property
    def seen_px(self) -> float:
        """Length that was really seen."""
        return self.length_px * sum(b - a for a, b in self.pieces)

    @property
    def direction(self) -> np.ndarray:
        """(2,) unit vector from the upper to the lower end."""
        d = self.ends_px[1] - self.ends_px[0]
        return np.asarray(d / np.linalg.norm(d))

    def x_at(self, y: float | np.ndarray) -> np.ndarray:
        """x of the line at height y."""
        return line_x(self.ends_px, y)


def line_segments(gray: np.ndarray) -> np.ndarray:
    """(N, 4) segments x0, y0, x1, y1 of an (H, W) uint8 picture, pixels."""
    import cv2

    lines: np.ndarray | None
    try:
        lines = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(gray)[0]
    except (AttributeError, cv2.error):
        edges = cv2.Canny(gray, 30, 90)
        lines = cv2.HoughLinesP(edges, 1, np.pi / 720, 40, minLineLength=30, maxLineGap=4)
    if lines is None:
        return np.zeros((0, 4))
    return np.asarray(lines, dtype=float).reshape(-1, 4)


def upright_edges(rgb: np.ndarray, vanishing: np.ndarray, within_deg: float = 6.0,
                  min_length_px: float = 30.0) -> list[StraightEdge]:
    """Long straight edges that point at where verticals meet.

    A panel may differ from the wall in colour alone, so brightness and two colour
    differences are searched; edges seen in more than one of them come once.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
    vanishing : (3,) array
        Where verticals meet, in homogeneous pixels.
    within_deg : float
        How far off an edge may point.
    min_length_px : float

    Returns
    -------
    list of StraightEdge
        Longest first; pixels have their origin at the centre of the top-left one.

    References
    ----------
    R. Grompone von Gioi et al., LSD: a line segment detector, IPOL 2, 2012.
    """
    return distinct(e for plane in colour_planes(rgb)
                    for e in _edges_of(plane, vanishing, within_deg, min_length_px))


def distinct(edges: Iterable[StraightEdge]) -> list[StraightEdge]:
    """Each edge once, longest first."""
    out: list[StraightEdge] = []
    for edge in edges:
        if not any(doubles(edge, other) for other in out):
            out.append(edge)
    return sorted(out, key=lambda e: -e.seen_px)


def parts(gray: np.ndarray, edge: StraightEdge, least_px: float) -> list[StraightEdge]:
    """What of a joined line is seen in one piece, each piece of ``least_px`` fitted anew to the
    light of an (H, W) uint8 picture: things that only lie in line do not share their slant."""
    import cv2

    along = edge.ends_px[1] - edge.ends_px[0]
    pieces = [edge.ends_px[0] + np.outer((a, b), along) for a, b in edge.pieces
              if (b - a) * edge.length_px >= least_px]
    if not pieces:
        return []
    # Of the picture only what is near the line is softened.
    reach = int(_REACH_PX) + 8
    low = np.maximum(edge.ends_px.min(axis=0).astype(int) - reach, 0)
    high = edge.ends_px.max(axis=0).astype(int) + reach + 1
    soft = cv2.GaussianBlur(gray[low[1]:high[1], low[0]:high[0]], (0, 0), 1.0).astype(np.float32)
    found = (_fit(soft, (piece - low)[None]) for piece in pieces)
    return [replace(f, ends_px=f.ends_px + low) for f in found if f is not None]


def with_more_contrast(rgb: np.ndarray) -> np.ndarray:
    """The photo with faint differences of brightness raised, for a second search."""
    import cv2

    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    light = cv2.createCLAHE(clipLimit=6.0, tileGridSize=(6, 6)).apply(lab[..., 0])
    lab = np.dstack([light, lab[..., 1:]])
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB))


def colour_planes(rgb: np.ndarray) -> list[np.ndarray]:
    """Brightness, red-green and blue-green difference, each (H, W) uint8."""
    import cv2

    red, green, blue = cv2.split(rgb)
    return [
        np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)),
        np.asarray(cv2.addWeighted(red, 1.0, green, -1.0, 128)),
        np.asarray(cv2.addWeighted(blue, 1.0, green, -1.0, 128)),
    ]


def doubles(edge: StraightEdge, other: StraightEdge) -> bool:
    """True when ``edge`` repeats (a part of) an edge that is already there."""
    if edge.sign * other.sign == -1:  # the two sides of a thin line
        return False
    y = edge.ends_px[:, 1]
    if min(y[1], other.ends_px[1, 1]) - max(y[0], other.ends_px[0, 1]) < 0.5 * (y[1] - y[0]):
        return False
    return bool(np.abs(other.x_at(y) - edge.ends_px[:, 0]).max() < 3.0
                and edge.seen_px < 1.3 * other.seen_px)


def _edges_of(gray: np.ndarray, vanishing: np.ndarray, within_deg: float, min_length_px: float
              ) -> list[StraightEdge]:
    """Edges of one (H, W) uint8 plane."""
    import cv2

    shrink = min(1.0, _SEARCH_SIDE_PX / max(gray.shape))
    small = gray if shrink == 1.0 else cv2.resize(gray, None, fx=shrink, fy=shrink,
                                                  interpolation=cv2.INTER_AREA)
    s = line_segments(small).reshape(-1, 2, 2)
    # LSD counts from the corner of the first pixel, we from its centre.
    s = s / shrink - 0.5
    flip = s[:, 0, 1] > s[:, 1, 1]
    s[flip] = s[flip, ::-1]
    d = s[:, 1] - s[:, 0]
    length = np.linalg.norm(d, axis=1)
    middle = s.mean(axis=1)
    to = vanishing[None, :2] - middle * vanishing[2]
    sine = (d[:, 0] * to[:, 1] - d[:, 1] * to[:, 0]) / (
        np.maximum(length, 1e-9) * np.linalg.norm(to, axis=1))
    keep = (np.abs(sine) < np.sin(np.radians(within_deg))) & (length > min_length_px / 2)
    soft = cv2.GaussianBlur(gray, (0, 0), 1.0).astype(np.float32)
    found: list[StraightEdge | None] = []
    for group in _joined(s[keep], length[keep]):
        edge = _fit(soft, group)
        # Pieces that only looked collinear are taken one by one.
        found += [edge] if edge is not None or len(group) == 1 else [
            _fit(soft, piece[None]) for piece in group]
    return [e for e in found if e is not None and e.seen_px >= min_length_px]


def _joined(s: np.ndarray, length: np.ndarray) -> list[np.ndarray]:
    """Groups of collinear segments, each (n, 2, 2)."""
    groups: list[np.ndarray] = []
    free = np.ones(len(s), dtype=bool)
    for i in np.argsort(-length):
        if not free[i]:
            continue
        members = np.zeros(len(s), dtype=bool)
        members[i] = True
        for _ in range(3):
            points = s[members].reshape(-1, 2)
            centre = points.mean(axis=0)
            axis = np.linalg.svd(points - centre)[2][0]
            normal = np.array([-axis[1], axis[0]])
            span = np.ptp((points - centre) @ axis)
            off = np.abs((s - centre) @ normal).max(axis=1)
            gap = np.abs((s.mean(axis=1) - centre) @ axis) - span / 2
            # A short line says little of where it goes on: stay near its ends.
            members = free & (off < 1.5 + 0.004 * span) & (gap < 2.5 * span)
            members[i] = True
        free &= ~members
        groups.append(s[members])
    return groups


def _fit(soft: np.ndarray, group: np.ndarray) -> StraightEdge | None:
    """One line through the half-way crossings along all segments of a group."""
    import cv2

    points, signs, clear = [], [], []
    for a, b in group:
        n = int(np.clip(np.linalg.norm(b - a) / 3, 4, 150))
        t = (np.arange(n) + 0.5) / n
        on = a + t[:, None] * (b - a)
        u = (b - a) / np.linalg.norm(b - a)
        normal = np.array([u[1], -u[0]])  # towards larger x for a downward line
        k = np.arange(-_REACH_PX, _REACH_PX + 0.01, 0.5)
        xy = (on[:, None, :] + k[None, :, None] * normal).astype(np.float32)
        profile = cv2.remap(soft, xy[..., 0], xy[..., 1], cv2.INTER_LINEAR,
                            borderMode=cv2.BORDER_REPLICATE)
        slope = np.gradient(profile, axis=1)
        near = np.exp(-0.5 * (k / 2.0) ** 2)
        sign = 1 if np.median(np.sum(slope * near, axis=1)) >= 0 else -1
        rise = np.maximum(sign * slope, 0) * near
        j = np.clip(np.argmax(rise, axis=1), 1, len(k) - 2)
        row = np.arange(n)
        left, mid, right = rise[row, j - 1], rise[row, j], rise[row, j + 1]
        curve = left - 2 * mid + right
        shift = np.where(curve < -1e-6, 0.5 * (left - right) / np.where(curve < 0, curve, -1), 0)
        at = k[j] + 0.5 * np.clip(shift, -1, 1)
        points.append(on + at[:, None] * normal)
        clear.append(mid > 0.5)
        signs.append((sign, n))
    p = np.vstack(points)[np.concatenate(clear)]
    return None if len(p) < 8 else _line_through(p, group, signs)


def _line_through(p: np.ndarray, group: np.ndarray, signs: list[tuple[int, int]]
                  ) -> StraightEdge | None:
    """Robust straight line x(y) through points, with the uncertainty at its ends."""
    middle, half = float(p[:, 1].mean()), max(float(np.ptp(p[:, 1])) / 2, 1.0)
    fit = fit_linear(np.column_stack([np.ones(len(p)), (p[:, 1] - middle) / half]), p[:, 0],
                     loss="geman-mcclure", turn=2.5, least_spread=0.03, rounds=6)
    if fit.spread > 1.0:
        return None
    lo, hi = float(group[..., 1].min()), float(group[..., 1].max())
    at, slope = fit.parameters
    ends = np.array([[at + slope * (y - middle) / half, y] for y in (lo, hi)])
    # Neighbouring samples share noise and shading, so only every tenth counts.
    effective = max(float((fit.trust > 0.25).sum()) / 10, 2.0)
    sd = float(np.hypot(2.0 * fit.spread / np.sqrt(effective), 0.05))
    pieces = sorted((float((a[1] - lo) / (hi - lo)), float((b[1] - lo) / (hi - lo)))
                    for a, b in group)
    total = sum(n for _, n in signs)
    lean = sum(s * n for s, n in signs) / max(total, 1)
    sign = 1 if lean > 0.6 else -1 if lean < -0.6 else 0
    return StraightEdge(ends, _union(pieces), sign, sd)


def _union(pieces: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Overlapping parts put together."""
    out: list[tuple[float, float]] = []
    for a, b in pieces:
        if out and a <= out[-1][1] + 0.01:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return tuple(out)

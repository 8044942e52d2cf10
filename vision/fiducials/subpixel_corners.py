"""Sub-pixel corners of a card from every black-white edge of its known pattern.

A photo makes white grow over black: blur happens in light, the camera then
brightens and clips.  Corners taken from the outer square alone come out up to a
pixel too far inside, which reads as a card further away than it is.  The inner
pattern has edges facing both ways, so it shows that spread ("bloom"); it is
fitted together with the perspective and so drops out of the corners.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.imaging.radiometry import luminance
from vision.robust import MEDIAN_TO_SD, fit_linear, spread

_SAMPLES_ALONG = (0.25, 0.5, 0.75)
_PROFILE = np.linspace(-0.5, 0.5, 25)


@dataclass(frozen=True)
class CornerFit:
    """Corners (4, 2) px with their (8, 8) covariance, and how well the pattern fitted."""

    corners_px: np.ndarray
    covariance_px2: np.ndarray
    bloom_px: float
    edges_used: int
    residual_px: float


def refine_corners(rgb: np.ndarray, corners_px: np.ndarray, modules: np.ndarray
                   ) -> CornerFit | None:
    """Fit perspective and bloom of a pattern to the photo.

    ``corners_px`` (4, 2) are rough corners of the black square from the card's
    top left clockwise, ``modules`` (n, n) bool is True where white.  Returns
    None when too few edges of the pattern are where they should be.
    """
    light, origin = _light_near(rgb, corners_px)
    where, white = _pattern_edges(modules)
    corners = np.asarray(corners_px, dtype=float) - origin
    n = modules.shape[0]
    bloom, used = 0.0, np.zeros(0)
    normal_matrix = np.eye(9)
    for _ in range(3):
        points, ok = _crossings(light, corners, where, white, modules)
        if ok.sum() < max(12, 0.5 * len(where)):
            return None
        w, v, p = where[ok], white[ok], points[ok]
        for _ in range(3):
            r, jac = _residuals(corners, bloom, w, v, p, n)
            scale = max(float(spread(r)), 0.02)
            weight = 1.0 / np.maximum(1.0, np.abs(r) / (2.0 * scale))
            normal_matrix = (jac * weight[:, None]).T @ jac
            normal_matrix[8, 8] += 1e-3  # a spread of many pixels is no bloom
            step = np.linalg.solve(normal_matrix, -(jac * weight[:, None]).T @ r)
            corners = corners + step[:8].reshape(4, 2)
            bloom += float(step[8])
        used = r
    module_px = float(np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1))) / n
    sd = max(float(spread(used)), 0.02)
    if sd > 0.2 * module_px or abs(bloom) > 0.5 * module_px:
        return None
    # The three samples of one edge share its blur and noise: one counts.
    covariance = np.linalg.inv(normal_matrix)[:8, :8] * sd**2 * len(_SAMPLES_ALONG)
    covariance += np.eye(8) * 0.03**2  # lens distortion and resampling inside one card
    return CornerFit(corners + origin, covariance, bloom, int(len(used)), sd)


def _light_near(rgb: np.ndarray, corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Linear-light luminance round a card (float32) and the (x, y) of its first pixel."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = 0.3 * float((high - low).max()) + 4
    x0, y0 = np.maximum(np.floor(low - margin), 0).astype(int)
    x1, y1 = np.ceil(high + margin).astype(int) + 1
    return luminance(rgb[y0:y1, x0:x1]), np.array([x0, y0], dtype=float)


def _pattern_edges(modules: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points on the pattern's edges (N, 2) in modules and unit directions to white (N, 2)."""
    n = modules.shape[0]
    padded = np.ones((n + 2, n + 2), dtype=bool)
    padded[1:-1, 1:-1] = modules
    where, white = [], []
    for i in range(n + 1):
        for j in range(n):
            across = (padded[j + 1, i], padded[j + 1, i + 1], (1.0, 0.0))
            down = (padded[i, j + 1], padded[i + 1, j + 1], (0.0, 1.0))
            for before, after, axis in (across, down):
                if before == after:
                    continue
                sign = 1.0 if after else -1.0
                for t in _SAMPLES_ALONG:
                    where.append((i, j + t) if axis[0] else (j + t, i))
                    white.append((sign * axis[0], sign * axis[1]))
    return np.array(where, dtype=float), np.array(white, dtype=float)


def perspective(corners: np.ndarray, n: float) -> np.ndarray:
    """(3, 3) map from the square [0, n]^2 (x right, y down) to four corners."""
    # Not by OpenCV, whose corners are float32: they would round at 1e-4 px, harmless here but
    # not in derivatives.
    rows: list[list[float]] = []
    for (x, y), (u, v) in zip(((0, 0), (n, 0), (n, n), (0, n)), corners.tolist(), strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    return np.append(np.linalg.solve(np.array(rows), corners.ravel()), 1.0).reshape(3, 3)


def apply(h: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Map (N, 2) points by a (3, 3) perspective."""
    q = points @ h[:, :2].T + h[:, 2]
    return np.asarray(q[:, :2] / q[:, 2:])


def _crossings(light: np.ndarray, corners: np.ndarray, where: np.ndarray, white: np.ndarray,
               modules: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the light crosses half way on each edge: (N, 2) px and a mask of good ones."""
    import cv2

    h = perspective(corners, modules.shape[0])
    line = where[:, None, :] + _PROFILE[None, :, None] * white[:, None, :]
    xy = apply(h, line.reshape(-1, 2)).astype(np.float32).reshape(len(where), -1, 2)
    values = cv2.remap(light, xy[..., 0], xy[..., 1], cv2.INTER_CUBIC,
                       borderMode=cv2.BORDER_REPLICATE)
    half = _half_level(light, h, modules, where)
    above = values - half[:, None]
    up = (above[:, :-1] < 0) & (above[:, 1:] >= 0)
    centre = np.abs(_PROFILE[:-1] + (_PROFILE[1] - _PROFILE[0]) / 2)
    cost = np.where(up, centre[None, :], np.inf)
    k = np.argmin(cost, axis=1)
    row = np.arange(len(where))
    ok = np.isfinite(cost[row, k]) & (cost[row, k] < 0.46)
    a, b = above[row, k], above[row, k + 1]
    s = _PROFILE[k] + (_PROFILE[1] - _PROFILE[0]) * np.where(ok, -a / np.where(b > a, b - a, 1), 0)
    return apply(h, where + s[:, None] * white), ok


def _half_level(light: np.ndarray, h: np.ndarray, modules: np.ndarray, where: np.ndarray
                ) -> np.ndarray:
    """Half-way level between black and white at each edge, both as planes over the card."""
    import cv2

    n = modules.shape[0]
    yy, xx = np.mgrid[0:n, 0:n]
    centres = np.column_stack([xx.ravel() + 0.5, yy.ravel() + 0.5])
    rim = np.array([(t, s) for t in np.arange(0.5, n) for s in (-0.5, n + 0.5)])
    points = np.vstack([centres, rim, rim[:, ::-1]])
    is_white = np.concatenate([modules.ravel(), np.ones(2 * len(rim), dtype=bool)])
    xy = apply(h, points).astype(np.float32)
    level = cv2.remap(light, xy[:, 0], xy[:, 1], cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE).ravel()
    total = np.zeros(len(where))
    for mask in (is_white, ~is_white):
        basis = np.column_stack([np.ones(mask.sum()), points[mask] - n / 2])
        fit = fit_linear(basis, level[mask], turn=3 / MEDIAN_TO_SD,
                         least_spread=1e-4 * MEDIAN_TO_SD, rounds=3)
        total += np.column_stack([np.ones(len(where)), where - n / 2]) @ fit.parameters
    return total / 2


def _residuals(corners: np.ndarray, bloom: float, where: np.ndarray, white: np.ndarray,
               points: np.ndarray, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Signed distance (px, towards white) of seen from expected edges, and its Jacobian."""
    h = perspective(corners, n)
    centre = apply(h, where)
    along = apply(h, where + 0.01 * white[:, ::-1]) - centre
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    towards = apply(h, where + 0.01 * white) - centre
    normal *= np.sign(np.sum(normal * towards, axis=1))[:, None]
    r = np.sum((points - centre) * normal, axis=1) + bloom
    jac = np.ones((len(where), 9))
    for k in range(8):
        moved = corners.copy()
        moved.flat[k] += 1e-3
        shifted = apply(perspective(moved, n), where)
        jac[:, k] = -np.sum((shifted - centre) * normal, axis=1) / 1e-3
    return r, jac

"""The end of a light mirrored in the wall: a line that is seen there only, and no surface.

A window or a lamp shows in the tube as a bright streak down the wall.  It often ends at the
surface, since the liquid changes what the inner wall mirrors, but as often where the window does.
A surface is a line across the rest of the wall, too; the end of a streak is not.
"""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.meniscus_image.networks import filled
from vision.meniscus_image.unroll import view
from vision.meniscus_image.views import WINDOW_STEP_MM, Grid, window_grid
from vision.parameters import LEAST_REST_COLUMNS, LEAST_SHOWN_BESIDE_GLARE

#: Grey level from which every colour of a pixel is burnt out.
_BURNT = 248.0
#: A column of the wall is burnt where so much of it is, between these distances from the line, mm;
#: on one side of the line only where the shares there differ by so much.
_BURNT_SHARE, _ONE_SIDED, _NEAR_MM, _FAR_MM = 0.25, 0.5, 0.4, 4.0
#: How far apart the rows are whose difference is an edge; how far from the place its line may be;
#: and from where to where lies what it is compared with, mm.
_EDGE_MM, _LINE_MM, _ELSEWHERE_MM, _REACH_MM = 0.3, 1.2, 2.5, 6.0
#: An edge of so little (sum of three colours, grey levels) is grain.
_GRAIN = 4.0


def ends_there(rgb: np.ndarray, fit: GraduationFit, height_mm: float, px_per_mm: float,
               whole: np.ndarray, grid: Grid) -> bool:
    """Whether what is seen at a height of the wall is the end of a mirrored light.

    ``rgb`` is (H, W, 3) uint8, ``whole`` (rows, columns, 3) the unrolled chamber on ``grid``.
    """
    row = int(np.clip(round((grid.top_mm - height_mm) / grid.step_mm - 0.5), 0, grid.rows - 1))
    if not _one_sided(filled(whole), row, grid.step_mm)[0].any():  # most have no such light
        return False
    close = window_grid(height_mm)
    return is_end_of_light(filled(view(rgb, fit.pose, close, px_per_mm)))


def is_end_of_light(close: np.ndarray) -> bool:
    """Whether a close view, (rows, columns, 3) in 0..255, shows its middle row only where a
    burnt-out light ends, while the rest of the wall shows more elsewhere.

    The rest is told from what it shows itself: grain, print and marks are as strong away from
    the line as at it.
    """
    middle = len(close) // 2
    ends, burnt = _one_sided(close, middle, WINDOW_STEP_MM)
    rest = ~(burnt | np.roll(burnt, 1) | np.roll(burnt, -1))
    if not ends.any() or rest.sum() < LEAST_REST_COLUMNS * len(rest):
        return False
    profile = np.median(close[:, rest], axis=1)
    half = round(_EDGE_MM / WINDOW_STEP_MM)
    edge = np.zeros(len(close))
    edge[half:-half] = np.abs(profile[2 * half:] - profile[:-2 * half]).sum(axis=1)
    away = np.abs(np.arange(len(close)) - middle) * WINDOW_STEP_MM
    usual = float(np.percentile(edge[(away >= _ELSEWHERE_MM) & (away < _REACH_MM)], 75))
    shown = float(edge[away <= _LINE_MM].max())
    return shown < LEAST_SHOWN_BESIDE_GLARE * max(usual, _GRAIN)


def _one_sided(seen: np.ndarray, row: int, step_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """(columns,) True where a light is burnt out above a row or below it, but not both; and
    where it is burnt out at all."""
    near, far = max(1, round(_NEAR_MM / step_mm)), max(2, round(_FAR_MM / step_mm))
    burnt = seen.min(axis=2) >= _BURNT
    above, below = burnt[max(row - far, 0):max(row - near, 0)], burnt[row + near:row + far]
    if not len(above) or not len(below):
        none = np.zeros(seen.shape[1], dtype=bool)
        return none, none
    up, down = above.mean(axis=0), below.mean(axis=0)
    return np.abs(up - down) > _ONE_SIDED, np.maximum(up, down) > _BURNT_SHARE

"""Ladders drawn for the tests: plain strokes on paper, and a printed tube before a camera.

Written apart from the reader: strokes are drawn by supersampling, the camera is
OpenCV's ``projectPoints`` and a rotation by SciPy, so that a common slip of
geometry cannot hide.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from vision.scale_file.scale import Scale, parse_scale

FINE = 8


def paper(height: int = 600, width: int = 300, level: float = 200.0) -> np.ndarray:
    """A blank (H, W) float32 picture."""
    return np.full((height, width), level, np.float32)


def stroke(picture: np.ndarray, x0: float, x1: float, y: float, *, thick: float = 2.4,
           slope: float = 0.0, ink: float = 50.0) -> None:
    """Draw one stroke in place: from x0 to x1, centred on y in its middle, sub-pixel exact.

    Pixel centres lie at whole numbers; a pixel's cover is the share of FINE x FINE
    points in it that lie on the stroke.
    """
    reach = thick + abs(slope) * (x1 - x0) + 2
    rows = np.arange(max(int(y - reach), 0), min(int(y + reach) + 2, picture.shape[0]))
    columns = np.arange(max(int(x0) - 1, 0), min(int(x1) + 3, picture.shape[1]))
    fine = (np.arange(FINE) + 0.5) / FINE - 0.5
    yy = (rows[:, None] + fine).reshape(-1, 1)
    xx = (columns[:, None] + fine).reshape(1, -1)
    middle = y + slope * (xx - (x0 + x1) / 2)
    on = (np.abs(yy - middle) <= thick / 2) & (xx >= x0) & (xx <= x1)
    cover = on.reshape(len(rows), FINE, len(columns), FINE).mean(axis=(1, 3))
    part = picture[rows[0]:rows[-1] + 1, columns[0]:columns[-1] + 1]
    part += (ink - part) * cover.astype(np.float32)


#: Narrow below, wide above, walls of 1.5 mm everywhere; 1 mL is pi/4 d^2 h.
_NARROW_MM_PER_ML = 1000.0 / (np.pi / 4 * 18.0**2)
_WIDE_MM_PER_ML = 1000.0 / (np.pi / 4 * 34.0**2)
STEPPED = {
    "name": "stepped", "unit": "mL", "inner_diameter_mm": [[0, 18.0], [7.4, 18.0], [7.6, 34.0],
                                                           [60, 34.0]],
    "outer_diameter_mm": [[0, 21.0], [7.4, 21.0], [7.6, 37.0], [60, 37.0]], "wall_mm": 1.5,
    "capacity": 60,
    "height_mm": [[0, 0.0], [7.4, 7.4 * _NARROW_MM_PER_ML], [7.6, 7.4 * _NARROW_MM_PER_ML + 1.0],
                  [60, 7.4 * _NARROW_MM_PER_ML + 1.0 + 52.4 * _WIDE_MM_PER_ML]],
    "marks": [{"from": 1, "to": 6.5, "step": 0.5, "length": "short"},
              {"from": 1, "to": 6, "step": 1, "length": "long", "label": True},
              {"from": 10, "to": 58, "step": 2, "length": "short"},
              {"from": 10, "to": 50, "step": 10, "length": "long", "label": True}],
}


def even_scale(count: int = 31, long_every: int = 5, label_every: int = 10, step_mm: float = 1.5
               ) -> Scale:
    """A scale of ``count`` even marks; value 0 at height 0."""
    top = count - 1
    return parse_scale({
        "name": "drawn", "unit": "mL", "inner_diameter_mm": 30.0, "wall_mm": 1.5, "capacity": top,
        "height_mm": [[0, 0.0], [top, top * step_mm]],
        "marks": [{"from": 0, "to": top, "step": 1, "length": "short"},
                  {"from": 0, "to": top, "step": long_every, "length": "long"},
                  {"from": 0, "to": top, "step": label_every, "length": "long", "label": True}],
    })


def tapered_scale() -> Scale:
    """A scale on a bore that widens upwards from 17 to 27 mm, so that no two gaps are alike."""
    z = np.linspace(0.0, 80.0, 41)
    bore = np.linspace(17.0, 27.0, 41)
    area = np.pi / 4 * bore**2 / 1000.0
    volume = np.concatenate([[0.0], np.cumsum(0.5 * (area[1:] + area[:-1]) * np.diff(z))])
    return parse_scale({
        "name": "taper", "unit": "mL", "wall_mm": 1.5, "capacity": float(volume[-1]),
        "inner_diameter_mm": [[v, d] for v, d in zip(volume, bore, strict=True)],
        "outer_diameter_mm": 30.0,
        "height_mm": [[v, h] for v, h in zip(volume, z, strict=True)],
        "marks": [{"from": 1, "to": 29, "step": 0.5, "length": "short"},
                  {"from": 5, "to": 25, "step": 5, "length": "long", "label": True}]})


def projective(z: np.ndarray, top: float, bottom: float, z_top: float, bend: float) -> np.ndarray:
    """Places t(z) = (a z + b) / (1 + bend z) with t(0) = bottom and t(z_top) = top."""
    a = (top * (1 + bend * z_top) - bottom) / z_top
    return (a * np.asarray(z, float) + bottom) / (1 + bend * np.asarray(z, float))


def draw_ladder(
    picture: np.ndarray, scale: Scale, place: Callable[[np.ndarray], np.ndarray], *,
    x: float = 150.0, short_px: float = 26.0, long_px: float = 46.0,
    hidden: Iterable[int] = (), slope: float = 0.0,
) -> np.ndarray:
    """Draw a scale's marks (left aligned at ``x``); returns the (M,) places of all of them."""
    t = place(np.array([m.height_mm for m in scale.marks]))
    skip = set(hidden)
    for i, (mark, y) in enumerate(zip(scale.marks, t, strict=True)):
        if i not in skip:
            stroke(picture, x, x + (long_px if mark.length == "long" else short_px), float(y),
                   slope=slope)
    return t


@dataclass(frozen=True)
class PinholeCamera:
    """A camera for ``cv2.projectPoints``: world to camera, then a 3 x 3 matrix."""

    rotation: np.ndarray
    centre_mm: np.ndarray
    matrix: np.ndarray

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """(N, 2) pixels of (N, 3) points."""
        rvec = cv2.Rodrigues(self.rotation)[0]
        tvec = -self.rotation @ self.centre_mm
        found, _ = cv2.projectPoints(np.asarray(points_mm, float).reshape(-1, 1, 3), rvec, tvec,
                                     self.matrix, None)
        return np.asarray(found).reshape(-1, 2)


def camera_towards(elevation_deg: float, distance_mm: float, target_mm: Sequence[float], *,
                   roll_deg: float = 0.0, aim_deg: Sequence[float] = (0.0, 0.0),
                   focal_px: float = 1500.0, size: tuple[int, int] = (900, 1200)) -> PinholeCamera:
    """A camera in the plane X = 0 before a target on the axis, looking at it from
    ``elevation_deg`` above; ``aim_deg`` turns it away to the right and upwards."""
    el = np.radians(elevation_deg)
    centre = np.asarray(target_mm, float) + distance_mm * np.array([0, -np.cos(el), np.sin(el)])
    # camera axes at rest: x right, y down (-Z), z forward (+Y)
    rest = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])
    turn = Rotation.from_euler("yxz", [-aim_deg[0], elevation_deg - aim_deg[1], roll_deg],
                               degrees=True)
    width, height = size
    k = np.array([[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1.0]])
    return PinholeCamera(turn.as_matrix() @ rest, centre, k)


def wall_point(azimuth_rad: np.ndarray, height_mm: np.ndarray, radius_mm: float | np.ndarray
               ) -> np.ndarray:
    """(N, 3) points of a wall; azimuth 0 faces the camera, positive to the right."""
    a, h = np.broadcast_arrays(np.asarray(azimuth_rad, float), np.asarray(height_mm, float))
    return np.stack([radius_mm * np.sin(a).ravel(), -radius_mm * np.cos(a).ravel(), h.ravel()], 1)


def paint_tube(camera: PinholeCamera, size: tuple[int, int], radius_mm: float,
               colour: Callable[[np.ndarray, np.ndarray], np.ndarray],
               ground: float = 150.0, samples: int = 2,
               parts: Sequence[tuple[float, float, float]] = ()) -> np.ndarray:
    """(H, W) float32: an opaque tube before a plain ground.

    ``colour(azimuth_rad, height_mm)`` gives the grey level of points of the wall;
    ``samples`` x ``samples`` sight lines are averaged in every pixel.  ``parts`` are the
    pieces of a stepped tube, (radius, lowest height, highest height) each, open between.
    """
    width, height = size
    fine = (np.arange(samples) + 0.5) / samples - 0.5
    x = (np.arange(width)[:, None] + fine).ravel()
    y = (np.arange(height)[:, None] + fine).ravel()
    k = camera.matrix
    u, v = np.meshgrid((x - k[0, 2]) / k[0, 0], (y - k[1, 2]) / k[1, 1])
    ray = np.stack([u, v, np.ones_like(u)], -1) @ camera.rotation
    o = camera.centre_mm
    a = ray[..., 0] ** 2 + ray[..., 1] ** 2
    b = o[0] * ray[..., 0] + o[1] * ray[..., 1]
    nearest = np.full(a.shape, np.inf)
    for radius, low, high in parts or [(radius_mm, -np.inf, np.inf)]:
        # |o + t r|^2 = R^2 in the plane square to the axis
        root = b * b - a * (o[0] ** 2 + o[1] ** 2 - radius**2)
        t = (-b - np.sqrt(np.where(root > 0, root, 0.0))) / a
        up = o[2] + t * ray[..., 2]
        hit = (root > 0) & (up > low) & (up < high)
        nearest = np.where(hit, np.minimum(t, nearest), nearest)
    hit = np.isfinite(nearest)
    p = o + np.where(hit, nearest, 0.0)[..., None] * ray
    shade = np.where(hit, colour(np.arctan2(p[..., 0], -p[..., 1]), p[..., 2]), ground)
    return shade.reshape(height, samples, width, samples).mean(axis=(1, 3)).astype(np.float32)


def printed(scale: Scale, *, short: tuple[float, float] = (-0.2, 0.25),
            long: tuple[float, float] = (-0.2, 0.55), thick_mm: float = 0.45, ink: float = 50.0,
            wall: float = 205.0, hidden: Iterable[int] = (),
            liquid: tuple[float, float] | None = None) -> Callable[..., np.ndarray]:
    """A colour for ``paint_tube``: the scale's marks without numerals, and (height, grey
    level) of an opaque liquid that fills the tube up to there."""
    skip = set(hidden)
    marks = [m for i, m in enumerate(scale.marks) if i not in skip]

    def colour(azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        out = np.full(height.shape, wall)
        if liquid is not None:
            out[height < liquid[0]] = liquid[1]
        z = np.array([m.height_mm for m in marks])
        order = np.argsort(z)
        at = np.clip(np.searchsorted(z[order], height), 1, len(z) - 1)
        lower, upper = order[at - 1], order[at]
        near = np.where(np.abs(height - z[lower]) < np.abs(height - z[upper]), lower, upper)
        is_long = np.array([m.length == "long" for m in marks])[near]
        right = np.where(is_long, long[1], short[1])
        left = np.where(is_long, long[0], short[0])
        on = (np.abs(height - z[near]) < thick_mm / 2) & (azimuth > left) & (azimuth < right)
        out[on] = ink
        return out

    return colour

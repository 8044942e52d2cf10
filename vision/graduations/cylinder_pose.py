"""Where the camera stood: the pose of a graduated cylinder from its own marks.

The marks are printed on the outside of the wall, so nothing between camera and
print refracts: a pinhole camera and a cylinder of known radius, or a wall of known
outline, say it all.  The pose is what the parallax correction needs: at which elevation
each point of the wall was seen.

Frames.  Chamber frame, mm: Z along the axis, up the scale, origin at the height
datum of the scale file; X to the right and Y away from the camera, which stands
in the plane X = 0 at (0, -distance, height).  Camera frame: x right, y down,
z forward.  Pixels: (x, y), origin at the centre of the top-left pixel.
"""

from __future__ import annotations

import math
from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from vision.robust import spread
from vision.scale_file.outline import Outline

#: A ladder counts as this many independently placed points, however many are measured.
INDEPENDENT_POINTS = 12.0
#: Ends of strokes are blurred and worn alike along the ladder: fewer still.
_INDEPENDENT_ENDS = 6.0
#: A misfit of so many standard uncertainties of a point asks for another start.
_POOR = 1.6
#: So many of the starts are compared before one is followed.
_FIRST_STARTS = 3
#: Logarithm of a distance in mm beyond which no chamber is looked for (500 m).
_FARTHEST = math.log(5e5)
#: So many times the radius of an uneven wall is looked up where a sight line met it last.
_TURNS_TO_THE_WALL = 5


@dataclass(frozen=True)
class CylinderPose:
    """Camera against chamber, and the covariance of what was estimated.

    ``params`` is (distance_mm, height_mm, yaw_rad, pitch_rad, roll_rad,
    log_focal); ``covariance`` is its (6, 6) covariance, scaled by the residuals;
    ``doubt_deg`` what the elevation is unsure of beyond it.  ``radius_mm`` is that of the
    widest part, ``outline`` the outside of a wall that is no even cylinder.
    """

    params: np.ndarray
    covariance: np.ndarray
    radius_mm: float
    centre_px: tuple[float, float]
    residual_px: float
    doubt_deg: float = 0.0
    outline: Outline | None = None

    def radius_at_mm(self, height_mm: float | np.ndarray) -> np.ndarray:
        """Outer radius at heights of any shape (or the one radius)."""
        return np.asarray(self.radius_mm) if self.outline is None else self.outline.at(height_mm)

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return float(np.exp(self.params[5]))

    def with_params(self, params: np.ndarray) -> CylinderPose:
        """The same chamber seen with other parameters."""
        return replace(self, params=np.asarray(params, dtype=float))

    def camera_centre_mm(self) -> np.ndarray:
        """(3,) camera position in the chamber frame."""
        return np.array([0.0, -self.params[0], self.params[1]])

    def axis(self) -> np.ndarray:
        """(3,) the chamber's axis, up the scale, in the camera frame."""
        return _rotation(self.params)[:, 2]

    def rays(self, points_px: np.ndarray) -> np.ndarray:
        """(N, 3) sight-line directions in the chamber frame for (N, 2) pixels."""
        return _rays(self.params, np.asarray(points_px, dtype=float), self.centre_px)

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """(N, 2) pixels of (N, 3) points of the chamber frame (NaN behind the camera)."""
        rotation = _rotation(self.params)
        cam = (np.asarray(points_mm, dtype=float) - self.camera_centre_mm()) @ rotation.T
        z = np.where(cam[:, 2] > 1e-6, cam[:, 2], np.nan)
        f = self.focal_px
        return np.column_stack([f * cam[:, 0] / z + self.centre_px[0],
                                f * cam[:, 1] / z + self.centre_px[1]])

    def project_wall(self, azimuth_rad: np.ndarray, height_mm: np.ndarray) -> np.ndarray:
        """(Z, A, 2) float32 pixels of a net on the wall: every height at every azimuth.

        The same as ``project(on_wall(...))``, much faster: what azimuth and height
        give to the camera's coordinates only has to be added.
        """
        rotation, f = _rotation(self.params), self.focal_px
        r, d, h = self.radius_mm, float(self.params[0]), float(self.params[1])
        heights = np.asarray(height_mm, float)
        round_wall = np.stack([r * np.sin(azimuth_rad), d - r * np.cos(azimuth_rad)])
        across = (rotation[:, :2] @ round_wall)[:, None]
        if self.outline is not None:
            narrower = self.outline.at(heights) / r
            across = across * narrower[None, :, None] + (
                d * rotation[:, 1, None] * (1.0 - narrower))[..., None]
        along = rotation[:, 2:] * (heights - h)
        z = along[2][:, None] + across[2]
        if z.size and not z.min() > 1e-6:
            z = np.where(z > 1e-6, z, np.nan)
        inverse = np.divide(f, z, out=z)
        out = np.empty((*z.shape, 2), np.float32)
        for k in (0, 1):
            side = along[k][:, None] + across[k]
            side *= inverse
            side += self.centre_px[k]
            out[..., k] = side
        return out

    def on_wall(self, azimuth_rad: np.ndarray, height_mm: np.ndarray,
                radius_mm: float | None = None) -> np.ndarray:
        """(N, 3) points of the wall; azimuth 0 faces the camera, positive to the right."""
        a, h = (x.ravel() for x in np.broadcast_arrays(
            np.asarray(azimuth_rad, float), np.asarray(height_mm, float)))
        r = self.radius_at_mm(h) if radius_mm is None else radius_mm
        return np.column_stack([r * np.sin(a), -r * np.cos(a), h])

    def wall_coordinates(self, points_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Azimuth (rad) and height (mm) where the sight lines meet the front wall.

        Sight lines that pass beside the chamber get the azimuth of their nearest
        approach.
        """
        rays = self.rays(points_px)
        x, y, z = _hit(self.params, rays, self.radius_mm)
        if self.outline is not None:
            # a wall that leans less than the sight line: each turn is nearer
            for _ in range(_TURNS_TO_THE_WALL):
                x, y, z = _hit(self.params, rays, self.outline.at(z))
        return np.arctan2(x, -y), z

    def elevation_rad(self, height_mm: float | np.ndarray) -> np.ndarray:
        """Elevation of the sight line to the axis at that height, positive from above.

        Measured against the plane square to the chamber axis.
        """
        return np.arctan2(self.params[1] - np.asarray(height_mm, float), self.params[0])

    def elevation_sd_deg(self, height_mm: float) -> float:
        """Standard uncertainty of that elevation, from the covariance of the pose."""
        d, h = self.params[0], self.params[1] - height_mm
        g = np.array([-h, d]) / (d * d + h * h)
        variance = float(g @ self.covariance[:2, :2] @ g)
        own = float(np.degrees(np.sqrt(max(variance, 0.0)))) + 0.05
        return float(np.hypot(own, self.doubt_deg))

    def limb_azimuth_rad(self) -> float:
        """Azimuth at which the sight line grazes the wall."""
        return float(np.arccos(np.clip(self.radius_mm / self.params[0], -1, 1)))

    def px_per_mm(self, height_mm: float) -> float:
        """Pixels per mm along the axis on the front wall at that height."""
        p = self.project(self.on_wall(np.zeros(2), np.array([height_mm - 0.5, height_mm + 0.5])))
        return float(np.hypot(*(p[1] - p[0])))


def _rotation(params: np.ndarray) -> np.ndarray:
    """Chamber frame -> camera frame: (3, 3), or (N, 3, 3) for parameters (N, 6).

    The product of turns about the camera's z (roll), x (pitch) and y axis (yaw) and of
    the change from the chamber's axes, written out: it is asked for hundreds of times.
    """
    plain = params.tolist()
    return np.array(_turned(*plain[2:5]) if params.ndim == 1 else [
        _turned(*one[2:5]) for one in plain])


def _turned(yaw: float, pitch: float, roll: float) -> list[list[float]]:
    cy, sy = math.cos(yaw), math.sin(yaw)
    cp, sp = math.cos(pitch), math.sin(pitch)
    cr, sr = math.cos(roll), math.sin(roll)
    return [[cr * cy - sr * sp * sy, cr * sy + sr * sp * cy, sr * cp],
            [sr * cy + cr * sp * sy, sr * sy - cr * sp * cy, -cr * cp],
            [-cp * sy, cp * cy, -sp]]


def _rays(params: np.ndarray, points_px: np.ndarray, centre: tuple[float, float]) -> np.ndarray:
    """(..., N, 3) sight lines in the chamber frame; ``params`` (..., 6), points (N, 2)."""
    cam = np.empty((*params.shape[:-1], len(points_px), 3))
    cam[..., :2] = (points_px - np.asarray(centre)) * np.exp(-params[..., None, 5:6])
    cam[..., 2] = 1.0
    return cam @ _rotation(params)


def _hit(params: np.ndarray, rays: np.ndarray, radius: float | np.ndarray
         ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """First meeting of sight lines with the cylinder (nearest approach if they miss).

    ``radius`` is one for all or (N,), one for each sight line.
    """
    d, h = params[..., 0, None], params[..., 1, None]
    x, y, z = rays[..., 0], rays[..., 1], rays[..., 2]
    a = x * x + y * y
    b = -d * y
    disc = np.maximum(b * b - a * (d * d - radius * radius), 0.0)
    t = (-b - np.sqrt(disc)) / a
    return t * x, -d + t * y, h + t * z


@dataclass(frozen=True)
class MarkPoints:
    """Measured points on the marks.

    ``points_px`` (N, 2) with ``height_mm`` (N,) of the mark each lies on;
    ``ends_px`` (M, 2) are ends of strokes, ``end_kind`` (M,) an integer per kind
    of end (left of short, right of short, ...): ends of one kind share an azimuth.
    ``end_height_mm`` (M,) is the height of the marks whose ends they are.
    """

    points_px: np.ndarray
    height_mm: np.ndarray
    ends_px: np.ndarray
    end_kind: np.ndarray
    end_height_mm: np.ndarray


class Residuals:
    """What is left over of one set of marks, in pixels, for parameters (..., 6).

    Points (..., N) are off in height on the wall; ends (..., M) of one kind should share an
    azimuth.  ``radii`` are one for all or (N,) and (M,), in mm.
    """

    def __init__(self, marks: MarkPoints, radii: tuple[float | np.ndarray, float | np.ndarray],
                 centre: tuple[float, float]) -> None:
        points, ends = len(marks.points_px), len(marks.ends_px)
        self.points, self.height_mm, self.kind = points, marks.height_mm, marks.end_kind
        self.aside = np.ascontiguousarray(
            (np.concatenate([marks.points_px, marks.ends_px]) - np.asarray(centre)).T)
        self.radius = np.concatenate([np.broadcast_to(radii[0], points),
                                      np.broadcast_to(radii[1], ends)])
        self.radius_squared = self.radius * self.radius
        member = self.kind[:, None] == np.arange(self.kind.max(initial=-1) + 1)
        self.share = member / np.maximum(member.sum(axis=0), 1)

    def moved(self, middle_px: np.ndarray) -> Residuals:
        """The same where the lens looked along a point that lies so far off, (..., 2)."""
        other = copy(self)
        other.aside = self.aside - np.asarray(middle_px, float)[..., None]
        return other

    def __call__(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Of the points and of the ends."""
        turn = _rotation(x)
        # as ``_rays`` and ``_hit``, but each coordinate in one piece, which is quicker
        back = np.swapaxes(turn, -1, -2)
        rays = (back[..., :2] * np.exp(-x[..., None, 5:6])) @ self.aside
        rays += back[..., 2:]
        rx, ry, rz = rays[..., 0, :], rays[..., 1, :], rays[..., 2, :]
        d, h = x[..., 0:1], x[..., 1:2]
        a, b = rx * rx + ry * ry, d * ry
        disc = b * b - a * (d * d - self.radius_squared)
        t = (b - np.sqrt(np.maximum(disc, 0.0, out=disc))) / a
        scale, n = np.exp(x[..., 5:6]) / np.maximum(d, 1.0), self.points  # pixels per mm
        points = (h + t[..., :n] * rz[..., :n] - self.height_mm) * scale
        if not len(self.kind):  # often, and as many steps again
            return points, np.zeros((*x.shape[:-1], 0))
        t, rx, ry = t[..., n:], rx[..., n:], ry[..., n:]
        azimuth = np.arctan2(t * rx, d - t * ry)
        ends = azimuth - (azimuth @ self.share)[..., self.kind]
        return points, ends * np.cos(azimuth) * self.radius[n:] * scale


def fit_pose(
    marks: MarkPoints, radius_mm: float, centre_px: tuple[float, float],
    focal_px: float, focal_relative_sd: float, *, point_sd_px: float = 0.25,
    end_sd_px: float = 2.5, start: np.ndarray | None = None, iterations: int = 25,
    outline: Outline | None = None,
) -> CylinderPose:
    """Robust least squares for the pose (Levenberg-Marquardt, Huber weights).

    The focal length enters with its own uncertainty, so that photos without
    camera facts widen the interval instead of failing.  ``radius_mm`` is that of the widest
    part; each mark lies on its own radius where an ``outline`` is given.
    """
    # Points of one mark, and of its neighbours, share printing, shading and blur
    # errors.  Counting them all as independent would let a tenth of a pixel of
    # common error overrule the focal length that the photo states.
    clumping = max(1.0, len(marks.height_mm) / INDEPENDENT_POINTS)
    poor_px = _POOR * point_sd_px
    point_sd_px *= np.sqrt(clumping)
    end_sd_px *= np.sqrt(max(1.0, len(marks.end_kind) / _INDEPENDENT_ENDS))
    left_over = Residuals(marks, (radius_mm, radius_mm) if outline is None else (
        outline.at(marks.height_mm), outline.at(marks.end_height_mm)), centre_px)
    middle_mm, nearest = float(marks.height_mm.mean()), math.log(1.2 * radius_mm)
    starts = [start] if start is not None else _starts(marks, radius_mm, focal_px, centre_px)

    def run(x0: np.ndarray, rounds: int) -> tuple[np.ndarray, float, np.ndarray]:
        return _levenberg(x0, left_over, middle_mm, nearest, np.log(focal_px),
                          focal_relative_sd, point_sd_px, end_sd_px, rounds)

    def misfit(x: np.ndarray) -> float:
        r, _ = left_over(x)
        return float(spread(r)) if len(r) else 0.0

    first, later = starts[:_FIRST_STARTS], starts[_FIRST_STARTS:]
    if len(first) > 1:
        first = [x0 for x0, _, _ in sorted((run(x0, 4) for x0 in first), key=lambda f: f[1])]
    best = run(first[0], iterations)
    for x0 in [*first[1:], *later]:
        # from close by, a steep view has valleys that lead nowhere
        if misfit(best[0]) < poor_px:
            break
        best = min(best, run(x0, iterations), key=lambda f: f[1])
    x, _, normal = best
    pose = CylinderPose(x, np.zeros((6, 6)), radius_mm, centre_px, 0.0, outline=outline)
    mad = misfit(x)
    covariance = np.linalg.pinv(normal) * max(mad * np.sqrt(clumping) / point_sd_px, 1.0) ** 2
    return replace(pose, covariance=covariance, residual_px=mad)


def _starts(marks: MarkPoints, radius_mm: float, focal_px: float, centre: tuple[float, float]
            ) -> list[np.ndarray]:
    """Starting points: the ladder's place, slope and size, at several elevations."""
    p, h = marks.points_px, marks.height_mm
    # image direction of the axis: regress (x, y) on height
    hm = h - h.mean()
    gx, gy = (hm @ p[:, 0]) / (hm @ hm), (hm @ p[:, 1]) / (hm @ hm)
    scale = float(np.hypot(gx, gy))
    roll = float(np.arctan2(gx, -gy))
    mid = p.mean(axis=0)
    distance = focal_px / scale + radius_mm
    starts = []
    for elevation in (-0.35, 0.0, 0.35, -0.6, 0.6):
        d = distance * np.cos(elevation)
        height = h.mean() + d * np.tan(elevation)
        # direction to the ladder's middle, seen in the unrolled camera
        c, s = np.cos(roll), np.sin(roll)
        dx, dy = mid[0] - centre[0], mid[1] - centre[1]
        ux, uy = c * dx + s * dy, -s * dx + c * dy
        yaw = np.arctan2(ux, focal_px)
        pitch = elevation - np.arctan2(uy, focal_px)
        starts.append(np.array([d, height, yaw, pitch, roll, np.log(focal_px)]))
    return starts


def as_view(params: np.ndarray, middle_mm: float) -> np.ndarray:
    """(6,) the parameters as (log size, elevation, yaw, aim, roll, log focal), of a ladder about
    ``middle_mm``.

    Distance and focal length, height and pitch trade against one another almost freely.  These
    hardly do, so that a search does not creep along a narrow valley.
    """
    x = params
    e = np.arctan2(x[1] - middle_mm, x[0])
    return np.array([np.log(x[0]) - x[5], e, x[2], x[3] - e, x[4], x[5]])


def from_view(view: np.ndarray, middle_mm: float) -> np.ndarray:
    """(..., 6) the parameters again."""
    x = view.copy()
    x[..., 0] = np.exp(view[..., 0] + view[..., 5])
    x[..., 1] = middle_mm + x[..., 0] * np.tan(view[..., 1])
    x[..., 3] += view[..., 1]
    return x


def _levenberg(
    x0: np.ndarray, left_over: Residuals, middle: float, nearest: float,
    log_f: float, f_sd: float, p_sd: float, e_sd: float, iterations: int,
) -> tuple[np.ndarray, float, np.ndarray]:
    def outer(y: np.ndarray) -> np.ndarray:
        return from_view(y, middle)

    def inner(x: np.ndarray) -> np.ndarray:
        return as_view(x, middle)

    def residuals(y: np.ndarray) -> np.ndarray:
        points, ends = left_over(outer(y))
        return np.concatenate([points / p_sd, ends / e_sd, (y[..., 5:6] - log_f) / f_sd], axis=-1)

    def weights(r: np.ndarray) -> np.ndarray:
        a = np.abs(r)
        w = np.where(a < 2.0, 1.0, 2.0 / np.maximum(a, 1e-9))
        w[a > 12.0] *= 0.2
        w[-1] = 1.0
        return w

    def cost_of(r: np.ndarray) -> float:
        a = np.abs(r[:-1])
        return float(np.where(a < 2.0, 0.5 * a * a, 2.0 * a - 2.0).sum() + 0.5 * r[-1] ** 2)

    y = inner(x0)
    r = residuals(y)
    cost, lam = cost_of(r), 1e-3
    for _ in range(iterations):
        jac = ((residuals(y + 1e-5 * np.eye(6)) - r) / 1e-5).T
        w = weights(r)
        normal = jac.T @ (w[:, None] * jac)
        gradient = jac.T @ (w * r)
        improved = False
        for _ in range(6):
            damped = normal + lam * np.diag(np.diag(normal) + 1e-12)
            trial = y - np.linalg.solve(damped, gradient)
            if not np.isfinite(trial).all() or abs(trial[1]) > 1.4 or not (
                    nearest < trial[0] + trial[5] < _FARTHEST):
                lam *= 10
                continue
            r_new = residuals(trial)
            c_new = cost_of(r_new)
            if c_new < cost:
                improved = (cost - c_new) > 1e-4 * cost
                y, r, cost = trial, r_new, c_new
                lam = max(lam / 8, 1e-9)
                break
            lam *= 6
        if not improved:
            break
    x = outer(y)
    # the information matrix in the outer parameters
    back = np.empty((6, 6))
    for k in range(6):
        h = max(abs(x[k]) * 1e-6, 1e-7)
        shifted = x.copy()
        shifted[k] += h
        back[:, k] = (inner(shifted) - y) / h
    return x, cost, back.T @ normal @ back

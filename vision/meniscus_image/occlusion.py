"""Whether an edge on the chamber runs on past it: then it is of something held before it.

The surface of the liquid ends at the wall.  A finger, the rim of a card or a
table edge goes straight on, and on one side of it all looks alike.
"""

from __future__ import annotations

import numpy as np

from vision.graduations.cylinder_pose import CylinderPose
from vision.graduations.fit import GraduationFit
from vision.graduations.unrolled_samples import sample

#: Strips in which the edge is looked for, in radii from the axis.
_ON, _BESIDE = (-0.6, 0.6), ((-1.5, -1.15), (1.15, 1.5))
#: Reach along the axis: of the strips, and of the edge in the middle one.
_REACH_MM, _HERE_MM = 6.0, 3.0
#: Colours to both sides of an edge are taken this far from it.
_NEAR_MM, _FAR_MM = 0.25, 1.5
_STEP_MM = 0.1
#: A step of fewer grey levels is no edge; colours closer than the second are alike.
_EDGE_LEVELS, _ALIKE_LEVELS = 14.0, 9.0
#: How far along the axis the edge may run up or down on its way out, in radii.
_STEEPEST = 0.12

#: Marks so far from the edge are looked at, and how little of them is seen when hidden.
_CLEAR_MM, _HIDDEN_MM, _HIDDEN_SHARE = 0.8, 9.0, 0.35

#: So many marks in a row have to be hidden, and then so many with that share of them seen again, on
#: a tube that is as wide, mm; what is held close to the lens has an edge so soft, mm.  Our choice.
_MANY, _SEEN_SHARE, _SAME_TUBE_MM, _SOFT_MM = 6, 0.8, 0.5, 3.0

#: Strips on the wall to both sides of the print and close beside it, in radii; how far from a place
#: the change there is looked for, mm; and the least grey levels that it is compared with.
_HALVES, _CLOSE = ((-0.75, -0.35), (0.35, 0.75)), ((-1.45, -1.12), (1.12, 1.45))
_THERE_MM, _BEYOND_MM, _FAINT_LEVELS = 0.6, 1.5, 3.0
#: Bands above and below a place whose colours are compared, so far from it, mm; and the most that
#: a tube adds to the contrast of what is seen through it.
_BAND_MM, _MOST_THROUGH = (1.0, 5.0), 1.1

#: Place along the axis, mm, and the colours above and below.
_Edge = tuple[float, np.ndarray, np.ndarray]


def occluded(rgb: np.ndarray, fit: GraduationFit, height_mm: float) -> bool:
    """True when the edge at a height of the wall hides marks, and either runs on beside the chamber
    or has another end, beyond which they are seen again.

    ``rgb`` is (H, W, 3) uint8, the picture of the ladder; ``height_mm`` the place straight
    in front.  One side is enough: a finger ends somewhere.  An edge of the room behind
    runs on as well, but the marks before it are seen.
    """
    pose = fit.pose
    here = _edge(_profile(rgb, pose, height_mm, *_ON), _HERE_MM)
    if here is None:
        return False
    hidden = [sign for sign in (1, -1) if _hides(fit, height_mm + here[0], sign)]
    if not hidden:
        return False  # as in nearly every photo: no need to look beside the chamber
    if any(_seen_again(fit, height_mm + here[0], sign) for sign in hidden):
        return True
    radius = float(pose.radius_at_mm(height_mm))
    for strip in _BESIDE:
        beside = _edge(_profile(rgb, pose, height_mm, *strip), _REACH_MM)
        if beside is not None and set(hidden) & set(_alike(here, beside, radius)):
            return True
    return False


def room_share(rgb: np.ndarray, fit: GraduationFit, height_mm: float) -> float:
    """How many times as much it changes beside the chamber as on the wall at a height.

    A shelf edge or a rule on the panel is seen through an empty tube, too, fainter and a little
    higher or lower; a surface changes more than what ends beside it.
    """
    change = [[_change(_profile(rgb, fit.pose, height_mm, *strip), reach) for strip in strips]
              for strips, reach in ((_HALVES, _THERE_MM), (_CLOSE, _BEYOND_MM))]
    return max(change[1]) / max(min(change[0]), _FAINT_LEVELS)


def not_of_the_room(rgb: np.ndarray, fit: GraduationFit, height_mm: float) -> float:
    """Grey levels by which the wall is of another colour below a height than above it beyond what
    the room beside it explains, on the side of the tube where that is less.

    Through an empty tube the room is seen as it is beside the chamber, or fainter; a liquid has a
    colour, and bends light, of its own.  NaN where the photo ends.
    """
    left = []
    for on, beside in zip(_HALVES, _CLOSE, strict=True):
        here, room = (_step(_profile(rgb, fit.pose, height_mm, *strip)) for strip in (on, beside))
        through = np.clip(here @ room / max(float(room @ room), 1.0), 0.0, _MOST_THROUGH)
        left.append(float(np.sqrt(np.mean((here - through * room) ** 2))))
    return min(left) if np.isfinite(left).all() else float("nan")


def _step(profile: np.ndarray) -> np.ndarray:
    """(3,) the colour above the middle of a profile less that below it."""
    near, far = (round(d / _STEP_MM) for d in _BAND_MM)
    middle = (len(profile) - 1) // 2
    return np.asarray(np.median(profile[middle + near:middle + far], axis=0)
                      - np.median(profile[middle - far:middle - near], axis=0))


def _change(profile: np.ndarray, reach_mm: float) -> float:
    """Largest step in grey levels, or line, within so many mm of the middle."""
    near, far = round(0.2 / _STEP_MM), round(0.8 / _STEP_MM)
    middle, reach = (len(profile) - 1) // 2, round(reach_mm / _STEP_MM)
    k = np.arange(middle - reach, middle + reach + 1)[:, None]
    away = np.arange(near, far + 1)[None]
    above, below = profile[k + away].mean(axis=1), profile[k - away].mean(axis=1)
    here = profile[k + np.arange(-1, 2)[None]].mean(axis=1)
    change = np.maximum(np.abs(above - below), np.abs(here - 0.5 * (above + below)))
    return float(np.nanmax(change)) if np.isfinite(change).any() else 0.0


def _alike(here: _Edge, beside: _Edge, radius_mm: float) -> list[int]:
    """On which sides (1 above, -1 below) two edges look alike, if they lie in one line."""
    if abs(beside[0] - here[0]) > _STEEPEST * radius_mm:
        return []
    return [sign for sign, k in ((1, 1), (-1, 2))
            if float(np.abs(here[k] - beside[k]).max()) < _ALIKE_LEVELS]


def _hides(fit: GraduationFit, edge_mm: float, sign: int) -> bool:
    """Whether the marks next to an edge, above (1) or below it (-1), are not seen."""
    away = sign * (fit.height_mm - edge_mm)
    near = (away > _CLEAR_MM) & (away < _HIDDEN_MM)
    return bool(near.sum() >= 2 and fit.shown[near].mean() < _HIDDEN_SHARE)


def _seen_again(fit: GraduationFit, edge_mm: float, sign: int) -> bool:
    """Whether the marks that are not seen from an edge on are seen again farther off, on a tube as
    wide: what hides them has another end, which no liquid has."""
    away = sign * (fit.height_mm - edge_mm)
    radius = np.broadcast_to(fit.pose.radius_at_mm(fit.height_mm), away.shape)
    there = (away > _SOFT_MM) & (np.abs(radius - radius[np.abs(away).argmin()]) < _SAME_TUBE_MM)
    seen = (fit.shown >= _HIDDEN_SHARE)[there][np.argsort(away[there])]
    hidden = int(np.argmax(seen)) if seen.any() else 0
    beyond = seen[hidden:hidden + _MANY]
    return hidden >= _MANY and len(beyond) == _MANY and bool(beyond.mean() >= _SEEN_SHARE)


def _profile(rgb: np.ndarray, pose: CylinderPose, height_mm: float, left: float, right: float
             ) -> np.ndarray:
    """(T, 3) mean colour along the axis, upwards, in a strip beside or on the chamber."""
    ends = pose.project(pose.on_wall(np.zeros(2), np.array([height_mm - 0.5, height_mm + 0.5])))
    up = ends[1] - ends[0]
    across = np.array([-up[1], up[0]])
    t = np.arange(-_REACH_MM - _FAR_MM, _REACH_MM + _FAR_MM + _STEP_MM, _STEP_MM)
    u = np.linspace(left, right, 9) * float(pose.radius_at_mm(height_mm))
    points = ends.mean(axis=0) + t[:, None, None] * up + u[None, :, None] * across
    low, high = np.floor(points.min(axis=(0, 1))) - 2, np.ceil(points.max(axis=(0, 1))) + 3
    (x0, y0), (x1, y1) = np.maximum(low, 0).astype(int), np.maximum(high, 0).astype(int)
    part = rgb[y0:y1, x0:x1]
    if part.shape[0] < 2 or part.shape[1] < 2:
        return np.full((len(t), 3), np.nan)
    seen = sample(part.astype(np.float32), points - [x0, y0])
    there = np.isfinite(seen).all(axis=2)
    total = np.where(there[..., None], seen, 0.0).sum(axis=1)
    count = there.sum(axis=1)[:, None]  # part of a strip may lie outside the photo
    return np.asarray(np.where(count >= 3, total / np.maximum(count, 1), np.nan))


def _edge(profile: np.ndarray, reach_mm: float) -> _Edge | None:
    """(place, colour above, colour below) of the clearest step; None if there is none."""
    near, far = round(_NEAR_MM / _STEP_MM), round(_FAR_MM / _STEP_MM)
    k = np.arange(far, len(profile) - far)[:, None]
    away = np.arange(near, far)[None]
    above, below = profile[k + away].mean(axis=1), profile[k - away].mean(axis=1)
    place = (k[:, 0] - (len(profile) - 1) / 2) * _STEP_MM
    step = np.where(np.abs(place) <= reach_mm, np.abs(above - below).max(axis=1), -1.0)
    if not np.isfinite(step).any() or np.nanmax(step) < _EDGE_LEVELS:
        return None
    best = int(np.nanargmax(step))
    return float(place[best]), above[best], below[best]

"""The marks measured on the unrolled wall, and the pose of the cylinder that follows from them.

A pose says where on the wall each mark of the scale ought to be; there it is looked for, column
by column; what was found moves the pose; and so a few times over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.graduations.backs_of_marks import backs_show
from vision.graduations.cylinder_pose import INDEPENDENT_POINTS, CylinderPose, MarkPoints, fit_pose
from vision.graduations.search import Found
from vision.graduations.unrolled_samples import MarkSamples, gaps_mm, sample_marks
from vision.imaging.camera import FILM_DIAGONAL_MM
from vision.parameters import ALL_ROUND_DEG, RING_DEG
from vision.scale_file.outline import Outline
from vision.scale_file.scale import Scale
from vision.true_intervals import true_intervals

#: Without camera facts: a phone's main camera, give or take a factor of 1.5.
_UNKNOWN_FOCAL_35MM, UNKNOWN_FOCAL_SD = 30.0, 0.35
#: Relative uncertainty of a stated focal length, at least: lenses breathe with focus.
_LEAST_FOCAL_SD = 0.015
_AZIMUTH = np.radians(np.arange(-66.0, 66.1, 3.0))
#: A mark of which fewer azimuths than this tell, among those that face the camera, is looked for at
#: all of them.
_FEW_TOLD, _FACING = 4, math.radians(45.0)
#: More points than this add time but no knowledge: their errors are shared.
_MOST_POINTS = 200
#: A pose is not fitted to fewer samples of print; each is in place to about so much, px.
FEWEST_SAMPLES, POINT_SD_PX = 12, 0.3
#: Marks of which only the print counts, not where it ends.
NO_ENDS = MarkPoints(np.zeros((0, 2)), np.zeros(0), np.zeros((0, 2)), np.zeros(0, int),
                     np.zeros(0))


@dataclass(frozen=True)
class Wall:
    """The marks measured on the unrolled wall, and the pose that follows from them.

    ``used`` (M, A) says which samples carry it; ``core_rad`` and ``long_rad`` are the azimuths
    of the short and of the long marks, None where too few marks were found.
    """

    pose: CylinderPose
    samples: MarkSamples
    used: np.ndarray
    core_rad: tuple[float, float] | None
    long_rad: tuple[float, float] | None


@dataclass(frozen=True)
class Task:
    """What stays the same while one picture is searched for one scale."""

    grey: np.ndarray
    scale: Scale
    focal_px: float
    focal_relative_sd: float
    focal_known: bool
    backs: bool = False

    @property
    def height_mm(self) -> np.ndarray:
        return np.array([m.height_mm for m in self.scale.marks])

    @property
    def is_long(self) -> np.ndarray:
        return np.array([m.length == "long" for m in self.scale.marks])

    def look(self, pose: CylinderPose) -> MarkSamples:
        """The wall at every mark, as a pose has it."""
        z = self.height_mm
        gap = gaps_mm(z)
        samples = sample_marks(self.grey, pose, z, gap, _AZIMUTH)
        if not self.backs:
            return samples
        # a line that lies where a mark ought to and is hardly told from a back is the mark's own
        backs = backs_show(pose, _AZIMUTH, z, gap, z)
        few = (~backs[:, np.abs(_AZIMUTH) < _FACING]).sum(axis=1) < _FEW_TOLD
        return replace(samples, backs=backs, untold=backs & ~few[:, None])

    def pose_from(self, marks: MarkPoints, point_sd_px: float, start: np.ndarray | None = None
                  ) -> CylinderPose:
        h, w = self.grey.shape
        return fit_pose(marks, self.scale.outer_radius_mm, ((w - 1) / 2, (h - 1) / 2),
                        self.focal_px, self.focal_relative_sd, point_sd_px=point_sd_px,
                        start=start, outline=self.scale.outline)


def focal_or_phone(known: tuple[float, float] | None, shape: tuple[int, int]
                   ) -> tuple[float, float]:
    """Focal length, pixels, and its relative uncertainty; a phone's main camera if unknown."""
    f, sd = known if known is not None else (
        _UNKNOWN_FOCAL_35MM / FILM_DIAGONAL_MM * math.hypot(*shape), UNKNOWN_FOCAL_SD)
    return f, max(sd, _LEAST_FOCAL_SD)


def measure_wall(task: Task, pose: CylinderPose, strokes: MarkPoints, rounds: int) -> Wall:
    """Measure all marks on the unrolled wall and fit the pose to them, a few times.

    ``strokes`` gives the ends of the marks as they were first found.
    """
    z, samples = task.height_mm, task.look(pose)
    used, core, zone = select_print(samples, task.is_long)
    for _ in range(rounds):
        if used.sum() < FEWEST_SAMPLES:
            return Wall(pose, samples, used, None, None)
        marks = points_seen(pose, samples, used, z, strokes)
        pose = task.pose_from(marks, POINT_SD_PX, pose.params)
        samples = task.look(pose)
        used, core, zone = select_print(samples, task.is_long)
    return Wall(pose, samples, used, core, zone)


def points_seen(pose: CylinderPose, samples: MarkSamples, used: np.ndarray, z: np.ndarray,
                strokes: MarkPoints | None = None) -> MarkPoints:
    """The print that was found, as pixels, with the ends of ``strokes``; not too many points.

    Those beside which the back of another mark may show are left out, unless hardly any are left.
    """
    clear = used if samples.backs is None else used & ~samples.backs
    i, j = np.nonzero(clear if clear.sum() >= FEWEST_SAMPLES else used)
    if len(i) > _MOST_POINTS:
        pick = np.linspace(0, len(i) - 1, _MOST_POINTS).astype(int)
        i, j = i[pick], j[pick]
    at = pose.on_wall(samples.azimuth_rad[j], z[i] + samples.offset_mm[i, j])
    if strokes is None:
        return replace(NO_ENDS, points_px=pose.project(at), height_mm=z[i])
    return replace(strokes, points_px=pose.project(at), height_mm=z[i])


def stroke_points(found: Found, z: np.ndarray, is_long: np.ndarray,
                  outline: Outline | None) -> MarkPoints:
    """Three points and two ends of every aligned stroke, in pixels of the picture.

    The line of least squares through an arc meets the arc at 1/sqrt(3) of the
    half-length on both sides: those two points and the centre line's middle are
    free of the arc's sagitta to first order.
    """
    a, s, k = found.alignment, found.strokes, found.factor

    def full(p: np.ndarray) -> np.ndarray:
        return (p + 0.5) * k - 0.5  # pixels of the reduced picture that the strokes are in

    centre = s.centre_px[a.stroke]
    half = 0.5 * (s.right_px - s.left_px)[a.stroke]
    r = 1.0 / np.sqrt(3.0)
    points = np.concatenate([centre - r * half, centre + r * half])
    ends = np.concatenate([s.left_px[a.stroke], s.right_px[a.stroke]])
    # marks printed alike on another radius end at another azimuth
    part = 0 if outline is None else np.unique(
        outline.part(z[a.mark]), return_inverse=True)[1]
    kind = 4 * part + 2 * is_long[a.mark]
    return MarkPoints(full(points), np.tile(z[a.mark], 2), full(ends),
                      np.concatenate([kind, kind + 1]).astype(int), np.tile(z[a.mark], 2))


def _print_in_place(s: MarkSamples) -> np.ndarray:
    """(M, A) where it is dark enough for print, and in place."""
    finite = np.isfinite(s.depth)
    noise = s.noise[np.isfinite(s.noise)]
    quiet = float(np.median(noise)) if noise.size else 1.0
    good = finite & (np.where(finite, s.depth, 0) > max(3.5 * quiet, 3.5))
    good &= np.abs(s.offset_mm) < 0.22 * s.gap_mm[:, None]
    if s.untold is not None:
        good &= ~s.untold
    return good


def select_print(
    s: MarkSamples, is_long: np.ndarray,
) -> tuple[np.ndarray, tuple[float, float] | None, tuple[float, float] | None]:
    """Which samples are print: dark enough, in place, at azimuths where most marks are."""
    finite, good = np.isfinite(s.depth), _print_in_place(s)
    used = np.zeros_like(good)
    zones: list[tuple[float, float] | None] = []
    every = slice(None)
    core: np.ndarray | None = None
    for rows in (~is_long, is_long):
        if not rows.any():
            zones.append(None)
            continue
        # marks that liquid or a finger hides say nothing about how far marks reach
        plain = rows & (good.any(axis=1) if core is None else
                        s.at(every, core).share(good[:, core], 1) > 0.5)
        shown = plain if plain.sum() >= 3 else rows
        share = s.at(shown, every).share(good[shown], 0)
        # numerals beside the marks are dark too, but not all at the same height; ink takes a share
        # of the light, so that what is behind (a bright strip, a shade) does not count
        dark = s.at(shown, every).typical(np.where(finite[shown], s.ink_share[shown], 0.0), 0)
        columns = _stretch((share > 0.55 * max(float(share.max()), 0.2))
                           & (dark > 0.4 * max(float(np.percentile(dark, 92)), 1e-6)), core)
        if core is None and columns.any():
            core = columns
        elif core is not None:
            # long marks reach further than short ones: what does not touch the short
            # marks is something else
            columns = columns | core if (columns & core).any() else core
        used[np.ix_(rows, columns)] = good[np.ix_(rows, columns)]
        zones.append((float(s.azimuth_rad[columns].min()), float(s.azimuth_rad[columns].max()))
                     if columns.any() else None)
    short_zone, long_zone = zones
    if short_zone is None:
        short_zone = long_zone
    if long_zone is None:
        long_zone = short_zone
    return used, short_zone, long_zone


def _stretch(mask: np.ndarray, core: np.ndarray | None) -> np.ndarray:
    """The unbroken stretch of True that shares most with ``core`` (else the longest)."""
    best, out = -1, np.zeros_like(mask)
    for start, stop in true_intervals(mask):
        shared = int(core[start:stop].sum()) if core is not None else 0
        weight = 1000 * shared + int(stop - start)
        if weight > best:
            best = weight
            out = np.zeros_like(mask)
            out[start:stop] = True
    return out


def runs_round(zone_rad: tuple[float, float]) -> bool:
    """Whether marks that cover those azimuths are taken to run right round the tube."""
    left, right = np.degrees(zone_rad)
    return bool(right - left >= RING_DEG and max(-left, right) >= ALL_ROUND_DEG)


def mark_pitch_px(pose: CylinderPose, height_mm: np.ndarray) -> float:
    return pose.px_per_mm(float(np.median(height_mm))) * float(np.min(np.abs(np.diff(height_mm))))


def relative_misfit(pose: CylinderPose, scale: Scale) -> float:
    return pose.residual_px / mark_pitch_px(pose, np.array([m.height_mm for m in scale.marks]))


def shown_share(samples: MarkSamples, used: np.ndarray, core: tuple[float, float]) -> np.ndarray:
    """(M,) share of the columns of each mark that shows it.

    Where there is no mark, grain and edges still look like one here and there.
    """
    columns = (samples.azimuth_rad > core[0] - 1e-6) & (samples.azimuth_rad < core[1] + 1e-6)
    return samples.at(slice(None), columns).share(used[:, columns], 1)


def explained(shown: float, misfit: float) -> float:
    """Marks seen and their misfit in one figure, as log-likelihood.

    The misfit counts as that of so many independent points as the pose is given.  Its unit
    only adds a constant: what is compared has to have the same.
    """
    return 3.0 * shown - INDEPENDENT_POINTS * float(np.log(max(misfit, 0.003)))


def wall_score(wall: Wall) -> float:
    """How well a measured wall explains its picture, to be compared within one picture: its
    misfits, in pixels, need not be made relative."""
    assert wall.core_rad is not None
    return explained(float(shown_share(wall.samples, wall.used, wall.core_rad).sum()),
                      wall.pose.residual_px)

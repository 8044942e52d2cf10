"""The ladder of graduations in a photo: found, fitted, numbered by its marks.

The way through: thin strokes -> evenly spaced chains -> alignment with the scale
file -> pose of the cylinder from the strokes -> every mark measured again on the
unrolled wall -> final pose.  All pixel coordinates in here are those of the
picture that was searched (``Ladder.grey``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.graduations.cylinder_pose import INDEPENDENT_POINTS, CylinderPose, MarkPoints, fit_pose
from vision.graduations.search import Found, Seen, search
from vision.graduations.shift_likelihood import ShiftEvidence, main_run, shift_evidence
from vision.graduations.unrolled_samples import MarkSamples, gaps_mm, lightness, sample_marks
from vision.imaging.camera import FILM_DIAGONAL_MM
from vision.imaging.picture import Picture
from vision.parameters import CLEAR_RESIDUAL, CLEAR_SEEN, LEAST_LIGHTNESS
from vision.scale_file.outline import Outline
from vision.scale_file.scale import Scale
from vision.true_intervals import true_intervals

#: Without camera facts: a phone's main camera, give or take a factor of 1.5.
_UNKNOWN_FOCAL_35MM, _UNKNOWN_FOCAL_SD = 30.0, 0.35
#: Relative uncertainty of a stated focal length, at least: lenses breathe with focus.
_LEAST_FOCAL_SD = 0.015
_AZIMUTH = np.radians(np.arange(-66.0, 66.1, 3.0))
#: More points than this add time but no knowledge: their errors are shared.
_MOST_POINTS = 200
#: A whole photo's focal length was never found so many standard uncertainties too short.
_CROPPED = 1.2
#: Elevation doubt that stays where the point that the lens looked along had to be found,
#: and where it could not be.
_FOUND_DOUBT_DEG, _CUT_DOUBT_DEG = 1.5, 4.0
#: Share to which the misfit then has to fall, and by how much the view may turn and come
#: nearer (log of the distances).
_CUT_SHARE, _TURNED_DEG, _NEARER = 0.5, 15.0, 0.5
#: Score for each mark below which the wall itself has to show so many of the marks.
_POOR_SCORE, _SHOWN = 0.36, 0.6
#: Share of the marks that lie evenly in one run, under which a scale is uneven.
_UNEVEN = 0.6
#: Shifts of the numbering that trail by less than this (nats) are tried out.
_UNDECIDED = 8.0


#: Marks of which only the print counts, not where it ends.
NO_ENDS = MarkPoints(np.zeros((0, 2)), np.zeros(0), np.zeros((0, 2)), np.zeros(0, int),
                     np.zeros(0))


@dataclass(frozen=True)
class _Wall:
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
class _Task:
    """What stays the same while one picture is searched for one scale."""

    grey: np.ndarray
    scale: Scale
    focal_px: float
    focal_relative_sd: float
    focal_known: bool

    @property
    def height_mm(self) -> np.ndarray:
        return np.array([m.height_mm for m in self.scale.marks])

    @property
    def is_long(self) -> np.ndarray:
        return np.array([m.length == "long" for m in self.scale.marks])

    def pose_from(self, marks: MarkPoints, point_sd_px: float, start: np.ndarray | None = None
                  ) -> CylinderPose:
        h, w = self.grey.shape
        return fit_pose(marks, self.scale.outer_radius_mm, ((w - 1) / 2, (h - 1) / 2),
                        self.focal_px, self.focal_relative_sd, point_sd_px=point_sd_px,
                        start=start, outline=self.scale.outline)


@dataclass(frozen=True)
class GraduationFit:
    """A ladder that was found.

    ``grey`` (H, W) float32 is the picture searched; ``samples`` are taken at the
    scale's marks in order; ``seen`` (M,) says which of them were found;
    ``used`` (M, A) which samples carried the pose.  ``core_rad`` is the azimuth
    range of the short marks, ``long_rad`` that of the long ones.
    ``rival`` is how much of the best alignment's score a ladder elsewhere in
    the photo reaches (0 to 1), ``rival_px`` where it is; ``elsewhere_px`` is
    any other row of marks that may be the scale, however little of it was seen.
    ``beside_px`` are the middles of rows of strokes beside this chamber, whatever they
    are: marks of another chamber, a rule, a pattern.  ``cut`` says that the picture is
    known to be a part of a photo.  ``picture`` is the one whose look was searched, and
    ``strategy`` names how the row was come by (both empty when fitted to a bare array).
    """

    scale: Scale
    grey: np.ndarray
    pose: CylinderPose
    samples: MarkSamples
    seen: np.ndarray
    used: np.ndarray
    core_rad: tuple[float, float]
    long_rad: tuple[float, float]
    evidence: ShiftEvidence
    focal_known: bool
    rival: float
    rival_px: tuple[float, float] | None
    elsewhere_px: tuple[float, float] | None
    beside_px: tuple[tuple[float, float], ...] = ()
    cut: bool = False
    picture: Picture | None = None
    strategy: str = ""

    @property
    def height_mm(self) -> np.ndarray:
        """(M,) heights of the scale's marks."""
        return np.array([m.height_mm for m in self.scale.marks])

    @property
    def focal(self) -> tuple[float, float]:
        """What is known of the focal length beside the marks: pixels, relative uncertainty."""
        known = None if self.picture is None or not self.focal_known else self.picture.focal
        return _focal(known, self.grey.shape[:2])

    @property
    def log_likelihood(self) -> float:
        """How well the fit explains its picture, nats: marks seen, and how well in place.

        Misfits count as shares of the pitch: rows in the grain of a photo are small, and
        off by little.
        """
        return _explained(float(self.shown.sum()), self.relative_residual)

    @property
    def shown(self) -> np.ndarray:
        """(M,) how much of each mark is seen, 0 to 1."""
        return _shown(self.samples, self.used, self.core_rad)

    @property
    def relative_residual(self) -> float:
        """Misfit of the marks as a share of their distance; see ``vision.parameters``."""
        return _relative(self.pose, self.scale)

    @property
    def is_clear(self) -> bool:
        """Whether nearly all marks were seen where the pose has them."""
        return bool(self.seen.mean() > CLEAR_SEEN and self.relative_residual < CLEAR_RESIDUAL)

    @property
    def is_of_marks(self) -> bool:
        """Whether what was found is narrower than the gaps between, as marks are.

        Light marks before something dark leave dark gaps, which are as even a row.
        """
        return lightness(self.grey, self.pose, self.samples, self.used,
                         self.height_mm) >= LEAST_LIGHTNESS

    @property
    def pitch_px(self) -> float:
        """Pixels between two neighbouring marks in the middle of the ladder."""
        return _pitch_px(self.pose, self.height_mm)


def _pitch_px(pose: CylinderPose, height_mm: np.ndarray) -> float:
    return pose.px_per_mm(float(np.median(height_mm))) * float(np.min(np.abs(np.diff(height_mm))))


def _relative(pose: CylinderPose, scale: Scale) -> float:
    return pose.residual_px / _pitch_px(pose, np.array([m.height_mm for m in scale.marks]))


def fit_graduations(
    grey: np.ndarray, scale: Scale, *, focal: tuple[float, float] | None = None,
    near: tuple[float, float] | None = None, fixed: tuple[float, tuple[float, float]] | None = None,
    seen: Seen | None = None,
) -> GraduationFit | None:
    """Find the graduations of a scale in one grey picture, and where the camera stood.

    Parameters
    ----------
    grey : (H, W) float32 array
        Grey levels, 0 to 255.
    scale : Scale
        What is printed on the chamber; it needs a bore.
    focal : (float, float), optional
        Focal length in pixels of ``grey`` and its relative standard uncertainty; without it
        a phone's main camera is assumed, with a doubt of a third.
    near : (x, y), optional
        A point on or beside the chamber that is meant.  All points are in pixels of
        ``grey``, origin at the centre of the top-left pixel.
    fixed : (float, (x, y)), optional
        The value of the mark nearest to a point.
    seen : Seen, optional
        What earlier calls saw in the same ``grey``; this one adds what it sees.

    Returns
    -------
    GraduationFit or None
        None when no row of strokes fits the scale.

    Notes
    -----
    Strokes -> evenly spaced rows -> alignment with the scale -> pose of the cylinder ->
    every mark measured again on the unrolled wall -> final pose.
    """
    known = focal is not None
    f, f_sd = _focal(focal, grey.shape[:2])
    task = _Task(grey, scale, f, f_sd, known)
    best: GraduationFit | None = None
    for found in search(grey, scale, near, fixed, seen, f):
        one = _measured(found, task, fixed)
        if one is not None and (best is None or one.log_likelihood > best.log_likelihood):
            best = one
        if best is not None and best.is_clear:
            break
    if best is not None and known and (
            np.log(best.pose.focal_px / f) > _CROPPED * task.focal_relative_sd):
        # The marks ask for a longer lens than the photo states: a part of a photo, cut
        # out later, does.  What it states is then worth nothing.
        cut = fit_graduations(grey, scale, focal=None, near=near, fixed=fixed, seen=seen)
        return None if cut is None else replace(cut, cut=True)
    return best


def _focal(known: tuple[float, float] | None, shape: tuple[int, int]) -> tuple[float, float]:
    """Focal length, pixels, and its relative uncertainty; a phone's main camera if unknown."""
    f, sd = known if known is not None else (
        _UNKNOWN_FOCAL_35MM / FILM_DIAGONAL_MM * math.hypot(*shape), _UNKNOWN_FOCAL_SD)
    return f, max(sd, _LEAST_FOCAL_SD)


def measured_from(fit: GraduationFit, pose: CylinderPose) -> GraduationFit | None:
    """The same marks measured anew in ``fit.grey`` from another pose, their numbering kept."""
    task = _Task(fit.grey, fit.scale, *fit.focal, fit.focal_known)
    wall = _measure_wall(task, pose, NO_ENDS, rounds=5)
    if wall.core_rad is None or wall.long_rad is None:
        return None
    evidence = shift_evidence(fit.grey, wall.pose, fit.scale, wall.core_rad)
    if evidence is None:
        return None
    return replace(fit, pose=wall.pose, samples=wall.samples, used=wall.used,
                   seen=np.asarray(wall.used.any(axis=1)), core_rad=wall.core_rad,
                   long_rad=wall.long_rad, evidence=evidence)


def _measured(found: Found, task: _Task, fixed: tuple[float, tuple[float, float]] | None
              ) -> GraduationFit | None:
    """What an alignment leads to: pose, marks measured on the wall, numbering."""
    scale, z = task.scale, task.height_mm
    strokes = _stroke_points(found, z, task.is_long, scale.outline)
    first = _measure_wall(task, task.pose_from(strokes, 0.5), strokes, rounds=1)
    if first.core_rad is None or first.long_rad is None:
        return None
    evidence = shift_evidence(task.grey, first.pose, scale, first.core_rad)
    if evidence is None:
        return None
    shifts = _undecided_shifts(evidence, scale) if fixed is None else [
        _shift_for(first.pose, scale, evidence, fixed)]
    best: tuple[float, ShiftEvidence, _Wall] | None = None
    for shift in shifts:
        # the marks are shift places further up the list: the same picture, with
        # the camera that much higher against the scale
        params = first.pose.params.copy()
        params[1] += shift * evidence.step_mm
        wall = _measure_wall(task, first.pose.with_params(params), strokes,
                             rounds=5 if shift or len(shifts) > 1 else 2)
        if wall.core_rad is None or wall.long_rad is None:
            continue
        told = float(evidence.log_likelihood[int(np.flatnonzero(evidence.shifts == shift)[0])])
        score = told + _score(wall)
        if best is None or score > best[0]:
            best = score, _moved(evidence, shift), wall
    if best is not None and _relative(best[2].pose, scale) >= CLEAR_RESIDUAL:
        best = _by_the_marks_alone(best, task, fixed is not None)
    if best is None:
        return None
    _, evidence, wall = best
    assert wall.core_rad is not None and wall.long_rad is not None
    seen = np.asarray(wall.used.any(axis=1))
    ends = wall.pose.project_wall(np.zeros(1), z[[0, -1]])
    if seen.sum() < 6 or not np.isfinite(ends).all():
        return None
    if found.alignment.score < _POOR_SCORE * len(z) and seen.mean() < _SHOWN:
        return None
    return GraduationFit(scale, task.grey, wall.pose, wall.samples, seen, wall.used,
                         wall.core_rad, wall.long_rad, evidence, task.focal_known,
                         found.rival, found.rival_px, found.elsewhere_px, found.beside_px)


def _score(wall: _Wall) -> float:
    """How well a measured wall explains its picture, to be compared within one picture: its
    misfits, in pixels, need not be made relative."""
    assert wall.core_rad is not None
    return _explained(float(_shown(wall.samples, wall.used, wall.core_rad).sum()),
                      wall.pose.residual_px)


def _uneven(scale: Scale) -> bool:
    """Whether the gaps between the marks change all along the scale, as in a tapered bore: it then
    fits its own marks nearly as well one mark further on, seen a little differently."""
    return len(main_run(scale)) < _UNEVEN * len(scale.marks)


def _by_the_marks_alone(best: tuple[float, ShiftEvidence, _Wall], task: _Task, numbered: bool
                        ) -> tuple[float, ShiftEvidence, _Wall]:
    """The wall measured without the ends of the strokes, which shadows of the print and what
    hides a part of the marks move; in an uneven scale not yet ``numbered`` also one mark further
    up and down.  The best of all."""
    score, evidence, wall = best
    z = task.height_mm
    marks = points_seen(wall.pose, wall.samples, wall.used, z)
    place = np.abs(marks.height_mm[:, None] - z[None]).argmin(axis=1)
    for way in (0,) if numbered or not _uneven(task.scale) else (0, -1, 1):
        there = (place + way >= 0) & (place + way < len(z))
        if there.sum() < 12:
            continue
        height = z[(place + way)[there]]
        start = wall.pose.params.copy()
        start[1] += float(np.mean(height - marks.height_mm[there]))
        pose = task.pose_from(replace(
            NO_ENDS, points_px=marks.points_px[there], height_mm=height), 0.3, start)
        other = _measure_wall(task, pose, NO_ENDS, rounds=5)
        if other.core_rad is None or other.long_rad is None or (told := _score(other)) <= score:
            continue
        seen = shift_evidence(task.grey, other.pose, task.scale, other.core_rad)
        if seen is not None:
            score, best = told, (told, seen, other)
    return best


def recentred(fit: GraduationFit) -> GraduationFit:
    """The ladder of a part of a photo: the lens looked along any line through it.

    The point that it looked along is put where the marks, which are arcs in perspective,
    fit best.  A wrong one tilts the view by degrees, so some doubt stays.
    """
    if not fit.cut:
        return fit
    from scipy.optimize import minimize

    pose, z = fit.pose, fit.height_mm
    marks = points_seen(pose, fit.samples, fit.used, z)
    size = float(np.hypot(*fit.grey.shape))

    def looked_from(aside: np.ndarray) -> CylinderPose:
        middle = (pose.centre_px[0] + size * aside[0], pose.centre_px[1] + size * aside[1])
        return fit_pose(marks, pose.radius_mm, middle, pose.focal_px, _UNKNOWN_FOCAL_SD,
                        point_sd_px=0.3, start=pose.params, outline=pose.outline)

    def misfit(aside: np.ndarray) -> float:
        # nothing is cut out from farther aside than a photo is large
        return looked_from(aside).residual_px + 0.05 * float(np.sum((aside / 0.5) ** 2))

    best = minimize(misfit, np.zeros(2), method="Nelder-Mead", options={
        "initial_simplex": [[0.0, 0.0], [0.15, 0.0], [0.0, 0.15]], "maxfev": 50,
        "xatol": 0.01, "fatol": 0.002}).x
    found = looked_from(best)
    middle_mm = float(np.median(z))
    turned_deg = abs(np.degrees(float(found.elevation_rad(middle_mm) - pose.elevation_rad(
        middle_mm))))
    nearer = abs(np.log(found.params[0] / pose.params[0]))
    # marks measured badly fit better from somewhere far off as well
    better = found.residual_px < _CUT_SHARE * pose.residual_px and (
        turned_deg < _TURNED_DEG and nearer < _NEARER)
    pose = replace(found, doubt_deg=_FOUND_DOUBT_DEG) if better else replace(
        pose, doubt_deg=_CUT_DOUBT_DEG)
    return replace(fit, pose=pose)


def _undecided_shifts(evidence: ShiftEvidence, scale: Scale) -> list[int]:
    """The shifts between which the marks of the main run do not decide.

    Where the scale has a second row of another spacing, a wrong shift moves the rows
    against each other, which the fit of the pose then shows.  The numbering that the
    strokes gave is among them: it rests on all rows.
    """
    if len(main_run(scale)) == len(scale.marks):
        return [evidence.best_shift]
    log_odds = evidence.log_likelihood - evidence.log_likelihood.max()
    order = np.argsort(-log_odds, kind="stable")
    likely = [int(evidence.shifts[k]) for k in order[:3] if log_odds[k] > -_UNDECIDED]
    return likely if 0 in likely else [*likely, 0]


def _shown(samples: MarkSamples, used: np.ndarray, core: tuple[float, float]) -> np.ndarray:
    """(M,) share of the columns of each mark that shows it.

    Where there is no mark, grain and edges still look like one here and there.
    """
    columns = (samples.azimuth_rad > core[0] - 1e-6) & (samples.azimuth_rad < core[1] + 1e-6)
    return np.asarray(used[:, columns].mean(axis=1))


def _explained(shown: float, misfit: float) -> float:
    """Marks seen and their misfit in one figure, as log-likelihood.

    The misfit counts as that of so many independent points as the pose is given.  Its unit
    only adds a constant: what is compared has to have the same.
    """
    return 3.0 * shown - INDEPENDENT_POINTS * float(np.log(max(misfit, 0.003)))


def _shift_for(pose: CylinderPose, scale: Scale, evidence: ShiftEvidence,
               fixed: tuple[float, tuple[float, float]]) -> int:
    """The shift that gives the mark nearest to the point its stated value."""
    value, at = fixed
    _, height = pose.wall_coordinates(np.array([at]))
    run = main_run(scale)
    first = scale.marks[int(run[0])].height_mm
    lattice = round((float(height[0]) - first) / evidence.step_mm)
    wanted = (float(scale.height_mm(value)) - first) / evidence.step_mm
    shift = round(wanted) - lattice
    return int(np.clip(shift, evidence.shifts.min(), evidence.shifts.max()))


def _moved(e: ShiftEvidence, shift: int) -> ShiftEvidence:
    """The same evidence, told from the numbering after a shift."""
    return ShiftEvidence(e.shifts - shift, e.log_likelihood, e.lattice + shift, e.present,
                         e.like_marks, e.step_mm)


def _stroke_points(found: Found, z: np.ndarray, is_long: np.ndarray,
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


def _measure_wall(task: _Task, pose: CylinderPose, strokes: MarkPoints, rounds: int) -> _Wall:
    """Measure all marks on the unrolled wall and fit the pose to them, a few times.

    ``strokes`` gives the ends of the marks as they were first found.
    """
    z, gap = task.height_mm, gaps_mm(task.height_mm)
    samples = sample_marks(task.grey, pose, z, gap, _AZIMUTH)
    used, core, zone = _select(samples, task.is_long)
    for _ in range(rounds):
        if used.sum() < 12:
            return _Wall(pose, samples, used, None, None)
        marks = points_seen(pose, samples, used, z, strokes)
        pose = task.pose_from(marks, 0.3, pose.params)
        samples = sample_marks(task.grey, pose, z, gap, _AZIMUTH)
        used, core, zone = _select(samples, task.is_long)
    return _Wall(pose, samples, used, core, zone)


def points_seen(pose: CylinderPose, samples: MarkSamples, used: np.ndarray, z: np.ndarray,
                 strokes: MarkPoints | None = None) -> MarkPoints:
    """The print that was found, as pixels, with the ends of ``strokes``; not too many points."""
    i, j = np.nonzero(used)
    if len(i) > _MOST_POINTS:
        pick = np.linspace(0, len(i) - 1, _MOST_POINTS).astype(int)
        i, j = i[pick], j[pick]
    at = pose.on_wall(samples.azimuth_rad[j], z[i] + samples.offset_mm[i, j])
    if strokes is None:
        return replace(NO_ENDS, points_px=pose.project(at), height_mm=z[i])
    return replace(strokes, points_px=pose.project(at), height_mm=z[i])


def _select(
    s: MarkSamples, is_long: np.ndarray,
) -> tuple[np.ndarray, tuple[float, float] | None, tuple[float, float] | None]:
    """Which samples are print: dark enough, in place, at azimuths where most marks are."""
    finite = np.isfinite(s.depth)
    noise = s.noise[np.isfinite(s.noise)]
    quiet = float(np.median(noise)) if noise.size else 1.0
    good = finite & (np.where(finite, s.depth, 0) > max(3.5 * quiet, 3.5))
    good &= np.abs(s.offset_mm) < 0.22 * s.gap_mm[:, None]
    used = np.zeros_like(good)
    zones: list[tuple[float, float] | None] = []
    core: np.ndarray | None = None
    for rows in (~is_long, is_long):
        if not rows.any():
            zones.append(None)
            continue
        # marks that liquid or a finger hides say nothing about how far marks reach
        plain = rows & (good.any(axis=1) if core is None else good[:, core].mean(axis=1) > 0.5)
        shown = plain if plain.sum() >= 3 else rows
        share = good[shown].mean(axis=0)
        # numerals beside the marks are dark too, but not all at the same height; ink takes a share
        # of the light, so that what is behind (a bright strip, a shade) does not count
        dark = np.median(np.where(finite[shown], s.ink_share[shown], 0.0), axis=0)
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

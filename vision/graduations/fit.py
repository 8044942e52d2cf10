"""The ladder of graduations in a photo: found, fitted, numbered by its marks.

The way through: thin strokes -> evenly spaced chains -> alignment with the scale
file -> pose of the cylinder from the strokes -> every mark measured again on the
unrolled wall -> final pose.  All pixel coordinates in here are those of the
picture that was searched (``Ladder.grey``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.graduations.cylinder_pose import INDEPENDENT_POINTS, CylinderPose, MarkPoints, fit_pose
from vision.graduations.search import Found, search
from vision.graduations.shift_likelihood import ShiftEvidence, main_run, shift_evidence
from vision.graduations.unrolled_samples import MarkSamples, gaps_mm, sample_marks
from vision.imaging.camera import FILM_DIAGONAL_MM
from vision.runs import true_runs
from vision.scale_file.scale import Scale

#: Without camera facts: a phone's main camera, give or take a factor of 1.5.
_UNKNOWN_FOCAL_35MM, _UNKNOWN_FOCAL_SD = 30.0, 0.35
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
#: Misfit, as a share of the marks' distance, up to which nothing better is looked for.
_NEAT_SHARE = 0.03
#: Misfit, likewise, up to which the count of marks may stand without legible numbers;
#: and up to which if it leads clearly.
_TIDY_SHARE, _FAIR_SHARE = 0.05, 0.1
#: Score for each mark below which the wall itself has to show so many of the marks.
_POOR_SCORE, _SHOWN = 0.36, 0.6
#: Shifts of the numbering that trail by less than this (nats) are tried out.
_UNDECIDED = 8.0

_Refined = tuple[CylinderPose, MarkSamples, np.ndarray, "tuple[float, float] | None",
                 "tuple[float, float] | None"]


@dataclass(frozen=True)
class Ladder:
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
    known to be a part of a photo.
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

    @property
    def height_mm(self) -> np.ndarray:
        """(M,) heights of the scale's marks."""
        return np.array([m.height_mm for m in self.scale.marks])

    @property
    def worth(self) -> float:
        """How well the ladder explains its picture, nats: marks seen, and how well in place.

        Misfits count as shares of the pitch: rows in the grain of a photo are small, and
        off by little.
        """
        return _explained(float(self.shown.sum()), self.pose.residual_px / self.pitch_px)

    @property
    def shown(self) -> np.ndarray:
        """(M,) how much of each mark is seen, 0 to 1."""
        return _shown(self.samples, self.used, self.core_rad)

    @property
    def neat(self) -> bool:
        """Whether nearly all marks were seen where the pose has them."""
        return bool(self.seen.mean() > 0.85
                    and self.pose.residual_px < _NEAT_SHARE * self.pitch_px)

    @property
    def tidy(self) -> bool:
        """Whether the marks are where the pose has them: without it their count proves little."""
        return bool(self.pose.residual_px < _TIDY_SHARE * self.pitch_px)

    @property
    def fair(self) -> bool:
        """Whether they are nearly there: their count proves something if it leads clearly."""
        return bool(self.pose.residual_px < _FAIR_SHARE * self.pitch_px)

    @property
    def pitch_px(self) -> float:
        """Pixels between two neighbouring marks in the middle of the ladder."""
        middle = float(np.median(self.height_mm))
        return self.pose.px_per_mm(middle) * float(np.min(np.abs(np.diff(self.height_mm))))


def find_ladder(
    grey: np.ndarray, scale: Scale, *, focal: tuple[float, float] | None = None,
    near: tuple[float, float] | None = None, fixed: tuple[float, tuple[float, float]] | None = None,
) -> Ladder | None:
    """Find the ladder of ``scale`` in ``grey`` ((H, W) float32); None if there is none.

    ``focal`` is (pixels, relative standard uncertainty) or None; ``near`` a point
    on or beside the chamber that is meant; ``fixed`` a mark's (value, point).
    """
    h, w = grey.shape
    known = focal is not None
    f, f_sd = focal if focal is not None else (
        _UNKNOWN_FOCAL_35MM / FILM_DIAGONAL_MM * float(np.hypot(w, h)), _UNKNOWN_FOCAL_SD)
    f_sd = max(f_sd, 0.015)
    best: Ladder | None = None
    for found in search(grey, scale, near, fixed):
        one = _measured(found, grey, scale, f, f_sd, known, fixed)
        if one is not None and (best is None or one.worth > best.worth):
            best = one
        if best is not None and best.neat:
            break
    if best is not None and known and np.log(best.pose.focal_px / f) > _CROPPED * f_sd:
        # The marks ask for a longer lens than the photo states: a part of a photo, cut
        # out later, does.  What it states is then worth nothing.
        cut = find_ladder(grey, scale, focal=None, near=near, fixed=fixed)
        return None if cut is None else replace(cut, cut=True)
    return best


def _measured(found: Found, grey: np.ndarray, scale: Scale, f: float, f_sd: float, known: bool,
              fixed: tuple[float, tuple[float, float]] | None) -> Ladder | None:
    """The ladder that an alignment leads to: pose, marks measured on the wall, numbering."""
    h, w = grey.shape
    centre = ((w - 1) / 2, (h - 1) / 2)
    z = np.array([m.height_mm for m in scale.marks])
    is_long = np.array([m.length == "long" for m in scale.marks])
    points = _stroke_points(found, z, is_long)
    radius = scale.outer_radius_mm
    pose = fit_pose(points, radius, centre, f, f_sd, point_sd_px=0.5)
    pose, samples, used, core, long_zone = _refine(grey, pose, z, is_long, points, radius,
                                                   centre, f, f_sd, rounds=1)
    if core is None or long_zone is None:
        return None
    evidence = shift_evidence(grey, pose, scale, core)
    shifts = _worth_trying(evidence, scale) if fixed is None else [
        _shift_for(pose, scale, evidence, fixed)]
    marks = MarkPoints(points.points_px, points.height_mm, points.ends_px, points.end_kind)
    best: tuple[float, ShiftEvidence, _Refined] | None = None
    for shift in shifts:
        # the marks are shift places further up the list: the same picture, with
        # the camera that much higher against the scale
        params = pose.params.copy()
        params[1] += shift * evidence.step_mm
        one = _refine(grey, pose.with_params(params), z, is_long, marks, radius, centre, f, f_sd,
                      rounds=5 if shift or len(shifts) > 1 else 2)
        if one[3] is None or one[4] is None:
            continue
        score = _worth(one, evidence, shift)
        if best is None or score > best[0]:
            best = score, _moved(evidence, shift), one
    if best is None:
        return None
    _, evidence, (pose, samples, used, core, long_zone) = best
    assert core is not None and long_zone is not None
    seen = np.asarray(used.any(axis=1))
    ends = pose.project_wall(np.zeros(1), z[[0, -1]])
    if seen.sum() < 6 or not np.isfinite(ends).all():
        return None
    if found.alignment.score < _POOR_SCORE * len(z) and seen.mean() < _SHOWN:
        return None
    return Ladder(scale, grey, pose, samples, seen, used, core, long_zone, evidence, known,
                  found.rival, found.rival_px, found.elsewhere_px, found.beside_px)


def recentred(ladder: Ladder) -> Ladder:
    """The ladder of a part of a photo: the lens looked along any line through it.

    The point that it looked along is put where the marks, which are arcs in perspective,
    fit best.  A wrong one tilts the view by degrees, so some doubt stays.
    """
    if not ladder.cut:
        return ladder
    from scipy.optimize import minimize

    pose, z = ladder.pose, ladder.height_mm
    marks = _points_seen(pose, ladder.samples, ladder.used, z, np.zeros((0, 2)), np.zeros(0, int))
    size = float(np.hypot(*ladder.grey.shape))

    def looked_from(aside: np.ndarray) -> CylinderPose:
        middle = (pose.centre_px[0] + size * aside[0], pose.centre_px[1] + size * aside[1])
        return fit_pose(marks, pose.radius_mm, middle, pose.focal_px, _UNKNOWN_FOCAL_SD,
                        point_sd_px=0.3, start=pose.params)

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
    return replace(ladder, pose=pose)


def _worth_trying(evidence: ShiftEvidence, scale: Scale) -> list[int]:
    """The shifts between which the marks of the main run do not decide.

    Where the scale has a second row of another spacing, a wrong shift moves the rows
    against each other, which the fit of the pose then shows.  The numbering that the
    strokes gave is among them: it rests on all rows.
    """
    if len(main_run(scale)) == len(scale.marks):
        return [evidence.best_shift]
    lead = evidence.log_likelihood - evidence.log_likelihood.max()
    order = np.argsort(-lead, kind="stable")
    likely = [int(evidence.shifts[k]) for k in order[:3] if lead[k] > -_UNDECIDED]
    return likely if 0 in likely else [*likely, 0]


def _worth(one: _Refined, evidence: ShiftEvidence, shift: int) -> float:
    """How well one numbering explains the picture, nats."""
    pose, samples, used, core, _ = one
    assert core is not None
    told = float(evidence.log_likelihood[int(np.flatnonzero(evidence.shifts == shift)[0])])
    return told + _explained(float(_shown(samples, used, core).sum()), pose.residual_px)


def _shown(samples: MarkSamples, used: np.ndarray, core: tuple[float, float]) -> np.ndarray:
    """(M,) share of the columns of each mark that shows it.

    Where there is no mark, grain and edges still look like one here and there.
    """
    columns = (samples.azimuth_rad > core[0] - 1e-6) & (samples.azimuth_rad < core[1] + 1e-6)
    return np.asarray(used[:, columns].mean(axis=1))


def _explained(shown: float, misfit: float) -> float:
    """Marks seen and their misfit in one figure, as log-likelihood.

    The misfit counts as that of so many independent points as the pose is given.
    """
    return 3.0 * shown - INDEPENDENT_POINTS * float(
        np.log(max(misfit, 0.003)))


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


def _stroke_points(found: Found, z: np.ndarray, is_long: np.ndarray) -> MarkPoints:
    """Three points and two ends of every aligned stroke, in pixels of the picture.

    The line of least squares through an arc meets the arc at 1/sqrt(3) of the
    half-length on both sides: those two points and the centre line's middle are
    free of the arc's sagitta to first order.
    """
    a, s, k = found.alignment, found.strokes, found.factor

    def full(p: np.ndarray) -> np.ndarray:
        return (p + 0.5) * k - 0.5

    centre = s.centre_px[a.stroke]
    half = 0.5 * (s.right_px - s.left_px)[a.stroke]
    r = 1.0 / np.sqrt(3.0)
    points = np.concatenate([centre - r * half, centre + r * half])
    ends = np.concatenate([s.left_px[a.stroke], s.right_px[a.stroke]])
    kind = np.concatenate([2 * is_long[a.mark], 2 * is_long[a.mark] + 1]).astype(int)
    return MarkPoints(full(points), np.tile(z[a.mark], 2), full(ends), kind)


def _refine(
    grey: np.ndarray, pose: CylinderPose, z: np.ndarray, is_long: np.ndarray,
    points: MarkPoints, radius: float, centre: tuple[float, float], f: float, f_sd: float,
    rounds: int,
) -> tuple[CylinderPose, MarkSamples, np.ndarray, tuple[float, float] | None,
           tuple[float, float] | None]:
    """Measure all marks on the unrolled wall and fit the pose to them, a few times."""
    gap = gaps_mm(z)
    samples = sample_marks(grey, pose, z, gap, _AZIMUTH)
    used, core, zone = _select(samples, is_long)
    for _ in range(rounds):
        if used.sum() < 12:
            return pose, samples, used, None, None
        marks = _points_seen(pose, samples, used, z, points.ends_px, points.end_kind)
        pose = fit_pose(marks, radius, centre, f, f_sd, point_sd_px=0.3, start=pose.params)
        samples = sample_marks(grey, pose, z, gap, _AZIMUTH)
        used, core, zone = _select(samples, is_long)
    return pose, samples, used, core, zone


def _points_seen(pose: CylinderPose, samples: MarkSamples, used: np.ndarray, z: np.ndarray,
                 ends_px: np.ndarray, end_kind: np.ndarray) -> MarkPoints:
    """The print that was found, as pixels, with the ends of the marks; not too many points."""
    i, j = np.nonzero(used)
    if len(i) > _MOST_POINTS:
        pick = np.linspace(0, len(i) - 1, _MOST_POINTS).astype(int)
        i, j = i[pick], j[pick]
    at = pose.on_wall(samples.azimuth_rad[j], z[i] + samples.offset_mm[i, j])
    return MarkPoints(pose.project(at), z[i], ends_px, end_kind)


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
        # numerals beside the marks are dark too, but not all at the same height
        dark = np.median(np.where(finite[shown], s.depth[shown], 0.0), axis=0)
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
    for start, stop in true_runs(mask):
        shared = int(core[start:stop].sum()) if core is not None else 0
        weight = 1000 * shared + int(stop - start)
        if weight > best:
            best = weight
            out = np.zeros_like(mask)
            out[start:stop] = True
    return out

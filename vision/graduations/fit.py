"""The ladder of graduations in a photo: found, fitted, numbered by its marks.

The way through: thin strokes -> evenly spaced chains -> alignment with the scale
file -> pose of the cylinder from the strokes -> every mark measured again on the
unrolled wall -> final pose.  All pixel coordinates in here are those of the
picture that was searched (``GraduationFit.grey``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from vision.graduations.cylinder_pose import CylinderPose, as_view, from_view
from vision.graduations.search import Effort, Found, Seen, search
from vision.graduations.shift_likelihood import ShiftEvidence, shift_evidence
from vision.graduations.spacing import is_even, lattice_heights, main_run
from vision.graduations.unrolled_samples import MarkSamples, lightness
from vision.graduations.wall import (
    FEWEST_SAMPLES,
    NO_ENDS,
    POINT_SD_PX,
    Task,
    Wall,
    explained,
    focal_or_phone,
    mark_pitch_px,
    measure_wall,
    points_seen,
    relative_misfit,
    runs_round,
    shown_share,
    stroke_points,
    wall_score,
)
from vision.imaging.picture import Picture
from vision.imaging.work import Work
from vision.parameters import (
    BETTER_ROW_NATS,
    CLEAR_RESIDUAL,
    CLEAR_SEEN,
    LEAST_LIGHTNESS,
)
from vision.scale_file.scale import Scale

#: A whole photo's focal length was never found so many standard uncertainties too short.
_CROPPED = 1.2
#: Score for each mark below which the wall itself has to show so many of the marks.
_POOR_SCORE, _SHOWN = 0.36, 0.6
#: Shifts of the numbering that trail by less than this (nats) are tried out.
_UNDECIDED = 8.0
#: Where backs are seen, leaving them out brings the misfit below this share of what it was: to 0.4
#: to 0.55 of it in eight views of a clear tube drawn for this, and to 0.96 in one not clear.
_BACKS_GONE = 0.85
#: Where marks lie in place as well as this no back pulls at them: the misfit, as a share of their
#: distance, was 0.02 and more in those views, and 0.007 in tubes that are not clear.
_NO_BACKS = 0.01
#: So many marks a row may be off where backs of marks stand beyond its ends.
_OFF_BY = (0, -1, 1, -2, 2)
#: Elevations from which marks all round are measured where they show none, degrees.
_TRIED_DEG = tuple(range(-30, 31, 3))


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
        return focal_or_phone(known, self.grey.shape[:2])

    @property
    def in_sight(self) -> bool:
        """Whether all marks lie before the camera, and nothing of them at its eye or behind it."""
        z = self.height_mm
        ends = self.pose.project_wall(np.zeros(1), np.array([z.min() - 0.5, z.max() + 0.5]))
        return bool(np.isfinite(ends).all())

    @property
    def log_likelihood(self) -> float:
        """How well the fit explains its picture, nats: marks seen, and how well in place.

        Misfits count as shares of the pitch: rows in the grain of a photo are small, and
        off by little.
        """
        return explained(float(self.shown.sum()), self.relative_residual)

    @property
    def shown(self) -> np.ndarray:
        """(M,) how much of each mark is seen, 0 to 1."""
        return shown_share(self.samples, self.used, self.core_rad)

    @property
    def relative_residual(self) -> float:
        """Misfit of the marks as a share of their distance; see ``vision.parameters``."""
        return relative_misfit(self.pose, self.scale)

    @property
    def is_clear(self) -> bool:
        """Whether nearly all marks were seen where the pose has them."""
        return bool(self.seen.mean() > CLEAR_SEEN and self.relative_residual < CLEAR_RESIDUAL)

    @cached_property
    def is_of_marks(self) -> bool:
        """Whether what was found is narrower than the gaps between, as marks are.

        Light marks before something dark leave dark gaps, which are as even a row.
        """
        return lightness(self.grey, self.pose, self.samples, self.used,
                         self.height_mm) >= LEAST_LIGHTNESS

    def reach_deg(self, length: str) -> tuple[float, float]:
        """Azimuth of the left and the right end of marks that are "long" or "short"."""
        left, right = self.long_rad if length == "long" else self.core_rad
        return float(np.degrees(left)), float(np.degrees(right))

    def runs_round(self, length: str) -> bool:
        """Whether marks of that length are taken to run right round the tube."""
        return runs_round(self.long_rad if length == "long" else self.core_rad)

    @property
    def pitch_px(self) -> float:
        """Pixels between two neighbouring marks in the middle of the ladder."""
        return mark_pitch_px(self.pose, self.height_mm)


def fit_graduations(
    grey: np.ndarray, scale: Scale, *, focal: tuple[float, float] | None = None,
    near: tuple[float, float] | None = None, fixed: tuple[float, tuple[float, float]] | None = None,
    seen: Seen | None = None, work: Work | None = None, effort: Effort = Effort.THOROUGH,
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
    work : Work, optional
        What may still be tried on this picture; without it as much as on a fresh one.
    effort : Effort, optional
        How thoroughly it is searched for strokes.

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
    f, f_sd = focal_or_phone(focal, grey.shape[:2])
    task = Task(grey, scale, f, f_sd, known)
    best: GraduationFit | None = None
    for found in search(grey, scale, near, fixed, seen, f, work, effort):
        one = _measured(found, task, fixed)
        if one is not None and (best is None or one.log_likelihood > best.log_likelihood):
            best = one
        if best is not None and best.is_clear:
            break
    if best is not None and known and (
            np.log(best.pose.focal_px / f) > _CROPPED * task.focal_relative_sd):
        # The marks ask for a longer lens than the photo states: a part of a photo, cut
        # out later, does.  What it states is then worth nothing.
        cut = fit_graduations(grey, scale, focal=None, near=near, fixed=fixed, seen=seen,
                              work=work, effort=effort)
        return None if cut is None else replace(cut, cut=True)
    return best


def measured_from(fit: GraduationFit, pose: CylinderPose, *, backs: bool | None = None
                  ) -> GraduationFit | None:
    """The same marks measured anew in ``fit.grey`` from another pose, their numbering kept;
    ``backs`` says that marks show their backs as well (None: as they did)."""
    if backs is None:
        backs = fit.samples.backs is not None
    task = Task(fit.grey, fit.scale, *fit.focal, fit.focal_known, backs)
    found = _without_ends(task, pose)
    if found is None:
        return None
    wall = found.wall
    assert wall.core_rad is not None and wall.long_rad is not None
    again = replace(fit, pose=wall.pose, samples=wall.samples, used=wall.used,
                    seen=np.asarray(wall.used.any(axis=1)), core_rad=wall.core_rad,
                    long_rad=wall.long_rad, evidence=found.evidence)
    return again if again.in_sight else None


def from_all_elevations(fit: GraduationFit) -> GraduationFit:
    """Marks all round measured from whichever elevation they lie best in place.

    Where fronts and backs were taken for one another a row shows no elevation, or a wrong one.
    """
    if not fit.runs_round("short") or fit.relative_residual < CLEAR_RESIDUAL:
        return fit
    middle = float(np.mean(fit.height_mm))
    view = as_view(fit.pose.params, middle)
    tried = (measured_from(fit, fit.pose.with_params(from_view(
        np.array([view[0], np.radians(e), *view[2:]]), middle)), backs=True) for e in _TRIED_DEG)
    return max([fit, *(one for one in tried if one is not None)],
               key=lambda one: one.log_likelihood)


def _measured(found: Found, task: Task, fixed: tuple[float, tuple[float, float]] | None
              ) -> GraduationFit | None:
    """What an alignment leads to: pose, marks measured on the wall, numbering."""
    scale, z = task.scale, task.height_mm
    strokes = stroke_points(found, z, task.is_long, scale.outline)
    first = measure_wall(task, task.pose_from(strokes, 0.5), strokes, rounds=1)
    if first.core_rad is None or first.long_rad is None:
        return None
    evidence = shift_evidence(task.grey, first.pose, scale, first.core_rad)
    if evidence is None:
        return None
    shifts = _undecided_shifts(evidence, scale) if fixed is None else [
        _shift_for(first.pose, scale, evidence, fixed)]
    best: _Numbered | None = None
    for shift in shifts:
        # the marks are shift places further up the list: the same picture, with
        # the camera that much higher against the scale
        pose = _shifted(first, task, shift, evidence.step_mm)
        if pose is None:
            continue
        wall = measure_wall(task, pose, strokes,
                            rounds=5 if shift or len(shifts) > 1 else 2)
        if wall.core_rad is None or wall.long_rad is None:
            continue
        one = _Numbered(wall, _moved(evidence, shift))
        if best is None or one.score > best.score:
            best = one
    if best is not None and relative_misfit(best.wall.pose, scale) >= CLEAR_RESIDUAL:
        best = _by_the_marks_alone(best, task)
    if best is None:
        return None
    assert best.wall.core_rad is not None
    if runs_round(best.wall.core_rad) and relative_misfit(best.wall.pose, scale) > _NO_BACKS:
        best = _between_the_backs(best, task)
    evidence, wall = best.evidence, best.wall
    assert wall.core_rad is not None and wall.long_rad is not None
    seen = np.asarray(wall.used.any(axis=1))
    if seen.sum() < 6 or found.alignment.score < _POOR_SCORE * len(z) and seen.mean() < _SHOWN:
        return None
    fit = GraduationFit(scale, task.grey, wall.pose, wall.samples, seen, wall.used,
                        wall.core_rad, wall.long_rad, evidence, task.focal_known,
                        found.rival, found.rival_px, found.elsewhere_px, found.beside_px)
    return fit if fit.in_sight else None


@dataclass(frozen=True)
class _Numbered:
    """A measured wall with what the marks say of its numbering."""

    wall: Wall
    evidence: ShiftEvidence

    @property
    def score(self) -> float:
        """How well marks and count explain the picture, to be compared within one picture."""
        e = self.evidence
        return float(e.log_likelihood[e.shifts == 0][0]) + wall_score(self.wall)


def _shifted(wall: Wall, task: Task, shift: int, step_mm: float) -> CylinderPose | None:
    """The pose in which every mark is ``shift`` places further up the list; None where the marks
    seen would then be no row."""
    if is_even(task.height_mm[main_run(task.scale)]) or not shift:
        params = wall.pose.params.copy()
        params[1] += shift * step_mm
        return wall.pose.with_params(params)
    return _taken_for(wall, task, shift)


def _by_the_marks_alone(best: _Numbered, task: Task) -> _Numbered:
    """The wall measured without the ends of the strokes, which shadows of the print and what
    hides a part of the marks move, where that explains the picture better by far: what is fitted
    to less always fits it a little better."""
    pose = _taken_for(best.wall, task, 0)
    alone = None if pose is None else _without_ends(task, pose)
    return best if alone is None or alone.score <= best.score + BETTER_ROW_NATS else alone


def _between_the_backs(best: _Numbered, task: Task) -> _Numbered:
    """The wall measured where no back of a mark shows, which pulls the marks beside it out of
    place and stands for a mark beyond the ends: the row may be off by some."""
    alone, found = replace(task, backs=True), [best]
    for shift in _OFF_BY:
        pose = _shifted(best.wall, task, shift, best.evidence.step_mm)
        one = None if pose is None else _without_ends(alone, pose)
        if one is not None and (
                one.wall.pose.residual_px < _BACKS_GONE * best.wall.pose.residual_px):
            found.append(one)
            if one.evidence.margin(0) > 0.0 and (
                    relative_misfit(one.wall.pose, task.scale) < CLEAR_RESIDUAL):
                break
    # of rows that lie as well in place, the one whose own marks ask for no other numbering
    return max(found[1:], default=best, key=lambda one: (
        min(one.evidence.margin(0), 0.0) + wall_score(one.wall)))


def _without_ends(task: Task, pose: CylinderPose) -> _Numbered | None:
    """The wall measured from a pose without the ends of the strokes; None where that is no row."""
    wall = measure_wall(task, pose, NO_ENDS, rounds=5)
    if wall.core_rad is None or wall.long_rad is None:
        return None
    evidence = shift_evidence(task.grey, wall.pose, task.scale, wall.core_rad, backs=task.backs)
    return None if evidence is None else _Numbered(wall, evidence)


def _taken_for(wall: Wall, task: Task, shift: int) -> CylinderPose | None:
    """The pose in which the marks seen on a wall are those ``shift`` places further up the list;
    None where too few of them would be any."""
    z = task.height_mm
    marks = points_seen(wall.pose, wall.samples, wall.used, z)
    place = np.abs(marks.height_mm[:, None] - z[None]).argmin(axis=1) + shift
    there = (place >= 0) & (place < len(z))
    if there.sum() < FEWEST_SAMPLES:
        return None
    height = z[place[there]]
    start = wall.pose.params.copy()
    start[1] += float(np.mean(height - marks.height_mm[there]))
    return task.pose_from(replace(NO_ENDS, points_px=marks.points_px[there], height_mm=height),
                          POINT_SD_PX, start)


def _undecided_shifts(evidence: ShiftEvidence, scale: Scale) -> list[int]:
    """The shifts between which the marks of the main run do not decide.

    Where the scale has a second row of another spacing, or gaps that change, a wrong shift moves
    the marks against each other, which the fit of the pose then shows.  The numbering that the
    strokes gave is among them: it rests on all rows.
    """
    run = main_run(scale)
    if len(run) == len(scale.marks) and is_even(np.array([m.height_mm for m in scale.marks])):
        return [evidence.best_shift]
    log_odds = evidence.log_likelihood - evidence.log_likelihood.max()
    order = np.argsort(-log_odds, kind="stable")
    likely = [int(evidence.shifts[k]) for k in order[:3] if log_odds[k] > -_UNDECIDED]
    return likely if 0 in likely else [*likely, 0]


def _shift_for(pose: CylinderPose, scale: Scale, evidence: ShiftEvidence,
               fixed: tuple[float, tuple[float, float]]) -> int:
    """The shift that gives the mark nearest to the point its stated value."""
    value, at = fixed
    _, height = pose.wall_coordinates(np.array([at]))
    run = np.array([scale.marks[i].height_mm for i in main_run(scale)])
    place = np.arange(-len(run), 2 * len(run))
    places = lattice_heights(run, place)
    here, wanted = (int(place[int(np.argmin(np.abs(places - h)))])
                    for h in (float(height[0]), float(scale.height_mm(value))))
    shift = wanted - here
    return int(np.clip(shift, evidence.shifts.min(), evidence.shifts.max()))


def _moved(e: ShiftEvidence, shift: int) -> ShiftEvidence:
    """The same evidence, told from the numbering after a shift."""
    return ShiftEvidence(e.shifts - shift, e.log_likelihood, e.lattice + shift, e.present,
                         e.like_marks, e.strength, e.step_mm)


"""First stage: where the marks of the scale are.  A photo in, rows fitted to the scale out.

What is tried, and in which order, stands in two tuples of named strategies; one loop goes
through each.  The name of the strategy that served stays with the row it found.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from vision.graduations.cut_out import recentred
from vision.graduations.fit import GraduationFit, fit_graduations, from_all_elevations
from vision.graduations.in_another_look import marks_shown_in
from vision.graduations.numeral_evidence import NUMBERED, check_numerals
from vision.graduations.search import Effort, rows_beside
from vision.graduations.two_inks import in_two_inks
from vision.imaging.photo import Photo
from vision.imaging.picture import LOOKS, Picture, full_picture, working_picture
from vision.imaging.quality import measure_quality
from vision.parameters import (
    BETTER_ROW_NATS,
    CLEAR_LOST,
    CLEAR_RESIDUAL,
    CLEAR_SEEN,
    COUNTED_RESIDUAL,
    FINE_PICTURE_PITCH_PX,
    LARGE_PITCH_PX,
    MISFIT_DOUBT_DEG,
    MOSTLY_SEEN,
    NOTHING_FINER_PX,
)
from vision.scale_file.scale import Scale

Point = tuple[float, float]
_NO_PICTURE = np.zeros((0, 0), np.float32)


@dataclass(frozen=True)
class Hints:
    """What a person has pointed at, in pixels of the upright photo.

    ``chamber_px`` lies on or beside the chamber that is meant, ``surface_px`` on its liquid
    surface; ``number`` is (value, point): a value typed for the mark nearest to the point.
    """

    chamber_px: Point | None = None
    surface_px: Point | None = None
    number: tuple[float, Point] | None = None


@dataclass(frozen=True)
class Strategy:
    """One way to look for the row: ``picture`` says in which size of the photo, ``look`` in
    which of ``vision.imaging.picture.LOOKS``."""

    name: str
    picture: Callable[[Photo], Picture]
    look: str


#: In this order, until a clear row is found.  Each look of the working picture; then, where
#: marks are small or none were found, each look of the full one.
STRATEGIES: tuple[Strategy, ...] = (
    *(Strategy(look, working_picture, look) for look in LOOKS),
    *(Strategy(f"{look}, every pixel", full_picture, look) for look in LOOKS),
)


def locate(photo: Photo, scale: Scale, hints: Hints | None = None,
           strategies: tuple[Strategy, ...] = STRATEGIES) -> GraduationFit | None:
    """The row of marks in the photo that fits the scale best.

    Parameters
    ----------
    photo : Photo
        Upright photo.
    scale : Scale
        What is printed on the chamber; it needs a bore.
    hints : Hints, optional
        What a person has pointed at, in pixels of the upright photo.
    strategies : tuple of Strategy, optional
        What to try, in order.

    Returns
    -------
    GraduationFit or None
        None when no row of strokes fits the scale.  Its ``picture`` is the one it was found
        in, its ``strategy`` the name of what served.

    Notes
    -----
    Another look of the same picture has to explain it better by ``BETTER_ROW_NATS``.  What
    the full picture shows replaces what the working one showed, since its marks are finer;
    a row is never given up for none.  Where the first look of a picture shows no row at all, good
    or bad, the others are asked for what is cheap only, and those of the full picture not at all:
    marks of another colour are seen in part, or their gaps are.  Nor is the full picture looked
    at where none was found and the working one is blurred.  Where the first look shows a row whose
    marks are large, the others are not searched for small ones; and where that lies in place and
    its numbers are read, only those in which the same marks show better are searched.
    """
    hints = hints or Hints()
    best: GraduationFit | None = None
    for picture_of, group in groupby(strategies, key=lambda strategy: strategy.picture):
        if best is not None and best.pitch_px >= FINE_PICTURE_PITCH_PX:
            break
        if best is None and picture_of is full_picture and _nothing_finer(photo):
            break
        picture = picture_of(photo)
        if picture_of is full_picture and picture.factor == photo.working_scale:
            continue  # the same picture again
        best = _best(_in_turn(picture, list(group), scale, hints, best is not None)) or best
    return best


def _nothing_finer(photo: Photo) -> bool:
    """Whether the working picture is so blurred that the full one shows nothing which that does
    not."""
    if photo.working_scale == 1:
        return True
    blur_px = measure_quality(photo.working_gray).blur_px
    return blur_px is None or blur_px > NOTHING_FINER_PX


def _in_turn(picture: Picture, strategies: list[Strategy], scale: Scale, hints: Hints,
             known: bool) -> Iterator[GraduationFit]:
    """The rows in one picture; ``known`` where one of the photo was found before."""
    effort = Effort.THOROUGH
    for strategy in strategies:
        first = strategy is strategies[0]
        if not first and not known:
            if picture.seen_smaller:
                return
            effort = Effort.COARSE
        row = row_in(picture, strategy.look, scale, hints, effort=effort)
        if row is not None:
            known = True
            effort = _effort_beside(row)
            yield replace(row, strategy=strategy.name)
            if first and len(strategies) > 1 and _settled_at_a_glance(row):
                return


def _settled_at_a_glance(row: GraduationFit) -> bool:
    """Whether most marks of a row lie in place, its numbers say which is which, and no colour shows
    a mark more: another look could only show the same row."""
    picture = row.picture
    if (picture is None or row.is_clear or not row.is_of_marks or row.seen.mean() < MOSTLY_SEEN
            or row.relative_residual >= CLEAR_RESIDUAL):
        return False
    check = check_numerals(row, at_a_glance=True)
    if check.verdict not in NUMBERED:
        return False
    # in their numbering: a colour may show marks to which the row does not reach yet
    here = marks_shown_in(row, row.grey, check.shift)
    return all(marks_shown_in(row, picture.look(colour), check.shift) < here + 1.0
               for colour in ("red", "green", "blue"))


def _effort_beside(row: GraduationFit) -> Effort:
    """How thoroughly other looks of a picture are searched beside a row that one of them shows."""
    return Effort.LARGE if row.pitch_px >= LARGE_PITCH_PX else Effort.THOROUGH


def _best(rows: Iterable[GraduationFit]) -> GraduationFit | None:
    """The row that explains its picture best, each next one only if better by far; the gaps
    between marks only if nothing else is found."""
    best: GraduationFit | None = None
    marks = False
    for row in rows:
        if (of_marks := row.is_of_marks) < marks:
            continue
        if best is None or of_marks > marks or (
                row.log_likelihood > best.log_likelihood + BETTER_ROW_NATS):
            best, marks = row, of_marks
        if best.is_clear and marks:
            break
    return None if best is None else _mended(best)


def _mended(row: GraduationFit) -> GraduationFit:
    """The row that is believed, with what is asked of that one only: print in two inks, a part of a
    photo, and the doubt that a misfit leaves."""
    mended = recentred(in_two_inks(from_all_elevations(row)))
    believed = mended if mended.in_sight else row
    if believed.relative_residual <= COUNTED_RESIDUAL:
        return believed
    doubt_deg = math.hypot(believed.pose.doubt_deg, MISFIT_DOUBT_DEG)
    return replace(believed, pose=replace(believed.pose, doubt_deg=doubt_deg))


def row_in(picture: Picture, look: str, scale: Scale, hints: Hints, *,
           near: Point | None = None, fixed: tuple[float, Point] | None = None,
           effort: Effort = Effort.THOROUGH) -> GraduationFit | None:
    """The best row in one look of one picture.

    ``near`` and ``fixed`` (a point, and a mark's value with its point) are in pixels of the
    picture and go before the hints.  Of a picture that was searched in half its size only what is
    finer is looked for.
    """
    if picture.seen_smaller:
        effort = Effort.FINE
    hint = hints.chamber_px or (hints.number[1] if hints.number else None)
    if near is None and hint is not None:
        near = _point(picture.from_photo(hint))
    if fixed is None and hints.number is not None:
        fixed = hints.number[0], _point(picture.from_photo(hints.number[1]))
    grey, asked = picture.look(look), (look, id(scale), near, fixed, effort)
    if asked not in picture.rows:
        found = fit_graduations(grey, scale, focal=picture.focal, near=near, fixed=fixed,
                                seen=picture.seen.setdefault(look, {}),
                                work=picture.work if fixed is None else None, effort=effort)
        # kept without its picture, which is large and quickly made again
        picture.rows[asked] = scale, None if found is None else replace(found, grey=_NO_PICTURE)
    _, found = picture.rows[asked]
    return None if found is None else replace(found, grey=grey, picture=picture, strategy=look)


def best_row(picture: Picture, scale: Scale, hints: Hints, *, near: Point | None = None,
             fixed: tuple[float, Point] | None = None) -> GraduationFit | None:
    """The best row over all looks of one picture; see :func:`row_in`."""
    return _best(row for look in LOOKS if (row := row_in(
        picture, look, scale, hints, near=near, fixed=fixed)) is not None)


def row_elsewhere(fit: GraduationFit, hints: Hints, effort: Effort = Effort.FIRST
                  ) -> GraduationFit | None:
    """Another row of marks in the photo that may be the scale; there is none where a person has
    pointed at the row that is meant.

    A rule on the panel may show more marks than the chamber does, and slats mirrored in the wall
    are a row too: the numbers say which is the scale.
    """
    if hints.chamber_px is not None or fit.picture is None or fit.elsewhere_px is None:
        return None
    look = look_of(fit)  # in which it was seen
    other = None if look not in LOOKS else row_in(
        fit.picture, look, fit.scale, hints, near=fit.elsewhere_px, effort=effort)
    if other is None:
        return None
    # all the marks are there, but lie badly: another look may show them better
    badly = other.seen.mean() > CLEAR_SEEN and other.relative_residual >= CLEAR_RESIDUAL
    best = best_row(fit.picture, fit.scale, hints, near=fit.elsewhere_px) if badly else None
    return replace(best or _mended(other), strategy="row elsewhere")


def in_other_looks(fit: GraduationFit, hints: Hints, effort: Effort | None = None
                   ) -> Iterator[GraduationFit]:
    """What the other looks of the same picture show; nothing where a person has pointed at the row
    that is meant.  ``effort`` is how thoroughly they are searched (None: as that row suggests)."""
    if hints.chamber_px is not None or fit.picture is None:
        return
    # what is clear in one look shows at once in another, if it does at all
    effort = effort or (
        Effort.FIRST if fit.is_clear and fit.is_of_marks else _effort_beside(fit))
    for look in LOOKS:
        if look == look_of(fit):
            continue  # that is the row itself
        other = row_in(fit.picture, look, fit.scale, hints, effort=effort)
        if other is not None:
            yield other


def look_of(fit: GraduationFit) -> str:
    """In which of ``LOOKS`` a row was found; "row elsewhere" for one of those."""
    return fit.strategy.split(",")[0]


def placed(fit: GraduationFit, fixed: tuple[float, Point], hints: Hints) -> GraduationFit | None:
    """The row fitted again with the value of a mark given, and its point in ``fit.picture``; as it
    was found before, or in any look where its marks then lie badly there."""
    if fit.picture is None:
        return None
    if look_of(fit) in LOOKS:
        again = row_in(fit.picture, look_of(fit), fit.scale, hints, near=fixed[1], fixed=fixed)
        if (again is not None and again.is_of_marks and again.relative_residual < CLEAR_RESIDUAL
                and again.seen.mean() >= fit.seen.mean() - CLEAR_LOST):
            return _mended(again)
    return best_row(fit.picture, fit.scale, hints, near=fixed[1], fixed=fixed)


def places_beside(fit: GraduationFit) -> list[tuple[str, Point]]:
    """(look, point) of rows of marks beside this chamber, in the look in which they were seen.

    Marks behind or in red liquid show in red light only, which such a liquid lets through.
    """
    picture = fit.picture
    if picture is None:
        return []
    heights = np.array([fit.height_mm.min(), fit.height_mm.max()])
    px_per_mm = fit.pose.px_per_mm(float(heights.mean()))
    (x0, y0), (x1, y1) = fit.pose.project(fit.pose.on_wall(np.zeros(2), heights))
    q = float((x1 - x0) / (y1 - y0))
    red = rows_beside(picture.look("red"), fit.scale, (float(x0 - q * y0), q),
                      px_per_mm, picture.seen.setdefault("red", {}))
    apart_px = fit.scale.outer_radius_mm * px_per_mm
    return [("grey", p) for p in fit.beside_px] + [
        ("red", p) for p in red
        if all(math.dist(p, known) > apart_px for known in fit.beside_px)]


def apart(a: GraduationFit, b: GraduationFit) -> bool:
    """Whether two rows are on two chambers."""
    height = float(np.median(a.height_mm))
    p, q = (x.pose.project(x.pose.on_wall(np.zeros(1), np.array([height])))[0] for x in (a, b))
    return bool(np.hypot(*(p - q)) > 1.6 * a.scale.outer_radius_mm * a.pose.px_per_mm(height))


def _point(xy: np.ndarray) -> Point:
    return float(xy[0]), float(xy[1])

"""Where in a photo the ladder may be: strokes, rows of them, rows laid against the scale.

Searched for in several sizes of picture and widths of stroke, since nobody knows how
large the marks are; grainy and pale photos get looks of their own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import cv2
import numpy as np

from vision.graduations.alignment import Alignment, align
from vision.graduations.projective_row import project_1d
from vision.graduations.ridges import Strokes, find_strokes, is_quiet
from vision.graduations.rows import Chain, find_chains
from vision.graduations.spacing import main_run
from vision.imaging.work import Work
from vision.scale_file.scale import Scale

#: Searching is done in a picture of about this many pixels, then in finer ones.
_SEARCH_PIXELS = 1_100_000
#: Score for each mark of the scale with which an alignment is worth keeping, and below
#: which it is not followed.
_GOOD_SCORE, _LEAST_SCORE = 0.75, -0.5
#: So many alignments are handed on where none is good.
_MOST_FOUND = 4
#: Share of the scale's marks with which a row is looked at alone before the whole picture is looked
#: at another way, room left on either side of it, in lengths of its strokes, and share of the
#: picture's width up to which that spares anything.  Our choice.
_NEARLY_ALL, _ROOM_ASIDE, _NARROW = 0.8, 0.5, 0.6


#: How a picture is looked at for strokes: by how much it is made smaller, width of the strokes,
#: smear, and whether faint strokes count.
Plan = tuple[int, float, int, bool]


class Effort(Enum):
    """How thoroughly a picture is searched.

    THOROUGH tries all it can, LARGE what a small picture of it shows, which is cheaper; COARSE is
    that but for what is tried in grainy photos.  FIRST is what shows at once, GLANCE what shows at
    first sight, and only where it is plain and no longer than the scale.  FINE is what a picture
    half its size did not show.
    """

    THOROUGH = "thorough"
    LARGE = "large"
    COARSE = "coarse"
    FIRST = "first"
    GLANCE = "glance"
    FINE = "fine"


@dataclass(frozen=True)
class Found:
    """An alignment, and what else in the photo may be a ladder.

    ``factor`` is by how much the photo was reduced for ``strokes``; for the others see
    :class:`vision.graduations.fit.Ladder`.
    """

    alignment: Alignment
    strokes: Strokes
    factor: int
    rival: float
    rival_px: tuple[float, float] | None
    elsewhere_px: tuple[float, float] | None
    beside_px: tuple[tuple[float, float], ...]


def _coarse(grey: np.ndarray) -> int:
    """By how much a picture is made smaller for the first look."""
    return max(1, round(np.sqrt(grey.size / _SEARCH_PIXELS)))


def longest_row(grey: np.ndarray, seen: Seen | None = None) -> int:
    """How many evenly spaced strokes the longest row in ``grey`` has, on any scale; ``seen`` is
    what was seen there before."""
    plan = _first_plan(_coarse(grey))
    _, rows = (seen or {}).get(plan) or _look(grey, *plan)
    full = [len(r) for r in rows if len(r) > 0.8 * (r.count[-1] - r.count[0] + 1)]
    return max(full, default=0)


def _fixed_mark(scale: Scale, fixed: tuple[float, tuple[float, float]] | None
                ) -> tuple[int, float] | None:
    """(index of the mark, y) of a mark whose value and place are given."""
    if fixed is None:
        return None
    values = np.array([m.value for m in scale.marks])
    return int(np.argmin(np.abs(values - fixed[0]))), float(fixed[1][1])


#: What is seen in one grey picture, by how it is looked at: the strokes, and the rows that they
#: form.
Seen = dict[Plan, tuple[Strokes, list[Chain]]]


def _first_plan(coarse: int) -> Plan:
    """What is tried first, on a picture made smaller by ``coarse``."""
    return coarse, 1.3, 0, False


def _plans(coarse: int, effort: Effort) -> tuple[list[Plan], list[Plan]]:
    """In which ways a picture is looked at, in turn, and others for grainy photos, when those find
    little; ``coarse`` is by how much it is made smaller for the first look."""
    if effort is Effort.FINE:
        return [(1, 1.3, 0, False)], []
    plans = [_first_plan(coarse), (max(1, coarse // 2), 1.5, 0, False),
             (coarse, 2.0, 0, False), (1, 1.2, 0, False), (coarse, 1.3, 9, False),
             (1, 1.6, 13, False)]
    if effort in (Effort.FIRST, Effort.GLANCE):
        return plans[:3 if effort is Effort.FIRST else 1], []
    if effort is not Effort.THOROUGH:
        plans = [plan for plan in plans if plan[0] == coarse]
    if effort is Effort.COARSE:
        return plans, []
    return plans, [(coarse, 1.6, 13, False), (2 * coarse, 1.1, 0, False),
                   (2 * coarse, 1.3, 5, False), (2 * coarse, 1.5, 9, False),
                   (coarse, 2.0, 0, True), (coarse, 1.5, 0, True), (2 * coarse, 1.3, 0, True)]


def search(grey: np.ndarray, scale: Scale, near: tuple[float, float] | None,
           fixed_value: tuple[float, tuple[float, float]] | None = None,
           seen: Seen | None = None, focal_px: float = 1000.0, work: Work | None = None,
           effort: Effort = Effort.THOROUGH) -> list[Found]:
    """The best alignments over a few sizes of picture and of stroke, the likeliest first.

    ``grey`` is (H, W) float32; ``near`` a point on or beside the chamber that is meant;
    ``fixed_value`` a mark's (value, point).  Where one alignment explains the strokes
    well it is the only one.  ``focal_px`` is the focal length in pixels.  ``seen`` is
    filled with what is seen in ``grey`` and spares the next search of the same picture that work;
    ``work`` is what may still be tried, ``effort`` how much of that is.
    """
    work = Work() if work is None else work
    seen = {} if seen is None else seen
    fixed = _fixed_mark(scale, fixed_value)
    h, coarse = grey.shape[0], _coarse(grey)
    plans, rescue = _plans(coarse, effort)
    best: Found | None = None
    every: list[Found] = []
    done: set[Plan] = set()
    for plan in [*plans, *rescue]:
        if plan in done:
            continue
        if plan in rescue and best is not None and (
                best.alignment.score > _GOOD_SCORE * len(scale.marks)
                or _whole_in_place(best.alignment, scale)):
            break
        if work.left <= 0:
            break
        done.add(plan)
        if plan not in seen:
            if best is not None and near is None and fixed is None:
                alone = _looked_at_alone(grey, best, plan, scale, focal_px, work)
                if alone is not None and _explains_all(alone.alignment, scale):
                    return [alone]
            seen[plan] = _look(grey, *plan)
        found = _search_once(*seen[plan], h // plan[0], scale, plan[0], near, fixed,
                             focal_px, work)
        if found is None:
            continue
        every.append(found)
        if best is None or found.alignment.score > best.alignment.score:
            best = found
        if _explains_all(best.alignment, scale):
            return [best]
    if best is None or best.alignment.score > _GOOD_SCORE * len(scale.marks):
        return [] if best is None else [best]
    if effort is Effort.GLANCE:
        return []
    distinct: list[Found] = []
    for one in sorted(every, key=lambda o: -o.alignment.score):
        if not any(_same_place(one, o, scale) for o in distinct):
            distinct.append(one)
    return distinct[:_MOST_FOUND]


def _whole_in_place(a: Alignment, scale: Scale) -> bool:
    """Whether hardly a mark of the scale is missing, and all lie where they ought to."""
    pitch = _pitch(a, scale)
    return bool(len(a.mark) >= 0.85 * len(scale.marks) and pitch > 6.0
                and a.residual_px < 0.08 * pitch)


def _explains_all(a: Alignment, scale: Scale) -> bool:
    """Whether an alignment explains its strokes so well that no other look is needed."""
    return a.unmatched_marks <= 3 and _whole_in_place(a, scale)


def _looked_at_alone(grey: np.ndarray, known: Found, plan: Plan, scale: Scale, focal_px: float,
                     work: Work) -> Found | None:
    """What a look at every pixel shows of the columns of a row of which a smaller picture showed
    nearly all marks; what else may be a ladder is what was seen with it.  None where most of the
    picture were looked at, or its grain matters, which has to be known of the whole of it.
    """
    a, k = known.alignment, known.factor
    factor, width_px, smear_px, faint = plan
    if factor > 1 or k == 1 or smear_px or faint or (
            len(a.mark) < _NEARLY_ALL * len(scale.marks)):
        return None
    strokes = known.strokes.take(a.stroke)
    room = _ROOM_ASIDE * float(strokes.length_px.max())
    # four pixels at a time, as their surroundings are looked at
    first = max(0, int(k * (strokes.left_px[:, 0].min() - room)) // 4 * 4)
    last = int(k * (strokes.right_px[:, 0].max() + room)) // 4 * 4 + 4
    if last - first > _NARROW * grey.shape[1] or not is_quiet(grey, width_px):
        return None
    seen = find_strokes(grey[:, first:last], width_px, quiet=True)
    aside = np.array([float(first), 0.0])
    seen = replace(seen, centre_px=seen.centre_px + aside, left_px=seen.left_px + aside,
                   right_px=seen.right_px + aside)
    found = _search_once(seen, find_chains(seen), grey.shape[0], scale, factor, None, None,
                         focal_px, work)
    return None if found is None else replace(
        found, rival=known.rival, rival_px=known.rival_px, elsewhere_px=known.elsewhere_px,
        beside_px=known.beside_px)


def _same_place(a: Found, b: Found, scale: Scale) -> bool:
    """Whether two alignments put the ends of the scale on the same spots of the photo."""
    z = np.array([scale.marks[0].height_mm, scale.marks[-1].height_mm])
    ends = []
    for one in (a, b):
        y = project_1d(one.alignment.map_abc, z)
        x = one.alignment.column[0] + one.alignment.column[1] * y
        ends.append((np.column_stack([x, y]) + 0.5) * one.factor)
    near = 0.5 * _pitch(a.alignment, scale) * a.factor
    return bool(np.hypot(*(ends[0] - ends[1]).T).max() < near)


def _pitch(a: Alignment, scale: Scale) -> float:
    """Smallest distance of neighbouring marks in the searched picture, px."""
    z = np.array([m.height_mm for m in scale.marks])
    t = project_1d(a.map_abc, z)
    return float(np.min(np.abs(np.diff(t))))


def _look(grey: np.ndarray, factor: int, width_px: float, smear_px: int, faint: bool
          ) -> tuple[Strokes, list[Chain]]:
    """The strokes of a picture made smaller by ``factor``, and the rows that they form."""
    h, w = grey.shape
    small = grey if factor == 1 else cv2.resize(
        grey, (w // factor, h // factor), interpolation=cv2.INTER_AREA)
    strokes = find_strokes(small, width_px, smear_px=smear_px, faint=faint)
    return strokes, find_chains(strokes)


def _search_once(strokes: Strokes, chains: list[Chain], height_px: int, scale: Scale,
                 factor: int, near: tuple[float, float] | None,
                 fixed: tuple[int, float] | None, focal_px: float, work: Work) -> Found | None:
    if near is not None:
        x, y = ((near[0] + 0.5) / factor - 0.5, (near[1] + 0.5) / factor - 0.5)
        chains = sorted(chains, key=lambda c: _distance(strokes, c, x, y))
        chains = [c for c in chains if _one_column(strokes, chains[0], c)][:2]
    held = None if fixed is None else (fixed[0], (fixed[1] + 0.5) / factor - 0.5)
    ranked = align(strokes, chains, scale, height_px, held, focal_px / factor, work)
    if not ranked and held is not None:
        # the point may be a little off its mark: number the marks afterwards
        ranked = align(strokes, chains, scale, height_px, None, focal_px / factor, work)
    if not ranked:
        return None
    best = ranked[0]
    if best.score < _LEAST_SCORE * len(scale.marks):
        return None
    rival, where, elsewhere = 0.0, None, None
    x_best = best.column[0] + best.column[1] * height_px / 2
    size = _pitch(best, scale) * len(scale.marks)
    for a in ranked[1:]:
        shared = np.intersect1d(a.stroke, best.stroke).size
        if shared > 0.2 * len(a.stroke):
            continue
        middle = strokes.centre_px[a.stroke].mean(axis=0)
        x_there = best.column[0] + best.column[1] * middle[1]
        if abs(middle[0] - x_there) < 0.12 * size and abs(x_there - x_best) < size:
            continue
        there = tuple((middle + 0.5) * factor - 0.5)
        elsewhere = elsewhere or there
        # a printed rule on the panel is a row of strokes too, but not this scale
        if len(a.mark) < 0.75 * len(best.mark) or a.unmatched_marks > 3:
            continue
        if a.score > rival * best.score:
            rival = float(np.clip(a.score / best.score, 0, 1))
            where = there
    z = np.array([m.height_mm for m in scale.marks])
    px_mm = _pitch(best, scale) / float(np.min(np.abs(np.diff(z))))
    return Found(best, strokes, factor, rival, where, elsewhere,
                 _beside(strokes, chains, best.column, px_mm, scale, factor))


def rows_beside(grey: np.ndarray, scale: Scale, axis: tuple[float, float], px_per_mm: float,
                seen: Seen) -> tuple[tuple[float, float], ...]:
    """Middles (x, y) of long rows of strokes outside a chamber, at one quick look.

    ``axis`` (p, q) is the line x = p + q y of the chamber; all in pixels of ``grey`` (H, W).
    """
    plan = _first_plan(_coarse(grey))
    if plan not in seen:
        seen[plan] = _look(grey, *plan)
    factor = plan[0]
    column = ((axis[0] + 0.5 - 0.5 * axis[1]) / factor + 0.5 * axis[1] - 0.5, axis[1])
    return _beside(*seen[plan], column, px_per_mm / factor, scale, factor)


def _beside(strokes: Strokes, chains: list[Chain], column: tuple[float, float], px_mm: float,
            scale: Scale, factor: int) -> tuple[tuple[float, float], ...]:
    """Middles, in the whole picture, of long rows of strokes outside this chamber."""
    fewest = 0.3 * len(main_run(scale))
    found = []
    for chain in chains:
        middle = strokes.centre_px[chain.index].mean(axis=0)
        axis_x = column[0] + column[1] * middle[1]
        if len(chain) >= max(fewest, 8) and (
                abs(middle[0] - axis_x) > 1.2 * scale.outer_radius_mm * px_mm):
            x, y = (middle + 0.5) * factor - 0.5
            found.append((float(x), float(y)))
    return tuple(found)


def _one_column(strokes: Strokes, a: Chain, b: Chain) -> bool:
    """Whether two chains may be pieces of one ladder: one stands above the other.

    A chain beside the one that a person pointed at belongs to another chamber.
    """
    p, q = (np.median(strokes.centre_px[c.index], axis=0) for c in (a, b))
    reach = 2.0 * float(np.median(strokes.length_px[a.index]))
    return bool(abs(p[0] - q[0]) < reach + 0.2 * abs(p[1] - q[1]))


def _distance(strokes: Strokes, chain: Chain, x: float, y: float) -> float:
    """Distance of a point to the box round a chain."""
    p = strokes.centre_px[chain.index]
    reach = 2.0 * float(np.median(strokes.length_px[chain.index]))
    dx = max(p[:, 0].min() - reach - x, x - p[:, 0].max() - reach, 0.0)
    dy = max(p[:, 1].min() - y, y - p[:, 1].max(), 0.0)
    return float(np.hypot(dx, dy))

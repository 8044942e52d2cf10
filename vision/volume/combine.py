"""Several photos of one chamber, one level: each with its whole probability, tested first.

The photos share the level, the wetting of the wall, the print, the wall and the scale; each
has a pose, a light and an edge of its own.  What they share does not average away (correlated
input quantities, JCGM 100:2008, 5.2 and F.1.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.budget import BudgetTerm
from vision.errors import InputError
from vision.meniscus_image.misread_risk import (
    LARGEST_CHANCE,
    chance_of_misreading,
    least_moved_mm,
)
from vision.parameters import (
    APART_DEG,
    APART_IN_TIME_MIN,
    COMMON_SHARE,
    DISAGREE_P,
    HOPELESS_LOG_ODDS,
    LED_RESIDUAL,
    MISLED,
    UNTOLD_DIVISIONS,
)
from vision.reading import Agreement, PhotoReading, Question, VolumeReading
from vision.scale_file.scale import Scale
from vision.volume.annotations import level_annotations
from vision.volume.decide import decide, range_status, refusal_of, sentence_of
from vision.volume.estimate import (
    HeightTerm,
    LevelEstimate,
    budget_terms,
    percentiles,
    value_per_mm,
)
from vision.volume.evidence import PhotoEvidence, with_level
from vision.volume.number import Ambiguous

#: Step of the heights over which probabilities are multiplied, and of those over which the
#: chance of a misreading is weighed, mm.
_STEP_MM, _COARSE = 0.02, 5
#: What a photo may be refused for and still say something about the level.
_STILL_COUNTS = ("competing-surfaces", "meniscus-uncertain", "surface-not-found")
#: Shifts of an unsettled numbering that trail by more than this (nats) are left out.
_SHIFT_NATS = 8.0
#: So much better than any other (in chi-squared) the set is without the photo that is named.
_CLEARLY_ODD = 4.0


@dataclass(frozen=True)
class _Witness:
    """A photo that says something about the level: log of its probability over the heights,
    by the networks' own word (``word``), with the terms that are its own (``log_density``), and as
    far as it can be trusted in a test (``tested``)."""

    place: int
    evidence: PhotoEvidence
    level: LevelEstimate
    word: np.ndarray
    log_density: np.ndarray
    tested: np.ndarray
    direction: np.ndarray
    alone: bool


def combine(evidences: Sequence[PhotoEvidence]) -> VolumeReading:
    """One reading from the evidence of several photos of one chamber.

    Parameters
    ----------
    evidences : sequence of PhotoEvidence
        From :func:`vision.volume.evidence.gather`, all against one scale, in any order.

    Returns
    -------
    VolumeReading
        As for one photo, with ``photos`` (each photo's own reading, in the given order) and
        ``agreement``.  Photos that do not tell the same level give no reading (flag
        "photos-disagree"); the reason names the one that stands apart, if one does.

    Raises
    ------
    InputError
        Without a photo, or with evidences against different scales.

    Notes
    -----
    Each photo's probability of the level is convolved with the terms that are its own,
    floored for the chance that it is misled, and multiplied with the others'.  The product is
    flattened to the number of independent photos that the set is worth, n^2 / sum(rho_ij)
    (JCGM 100:2008, 5.2.2 with equal uncertainties), then convolved with what all share.
    Agreement: twice the log of the ratio of the photos' likelihoods, each at its own best
    level to all at a common one, against chi-squared with n - 1 degrees of freedom
    (S. S. Wilks, Ann. Math. Stat. 9 (1938) 60).
    """
    if not evidences:
        raise InputError("No photo was given.")
    if len({id(e.scale) for e in evidences}) > 1 and len({e.scale for e in evidences}) > 1:
        raise InputError("All photos must be read against one scale.")
    evidences = _numbered_by_others(evidences)
    singles = [decide(e) for e in evidences]
    photos = tuple(PhotoReading(e.photo.name, r) for e, r in zip(evidences, singles, strict=True))
    if len(evidences) == 1:
        return singles[0]
    scale = evidences[0].scale
    grid = _heights(scale)
    witnesses = _that_fit(_witnesses(evidences, singles, grid))
    if len(witnesses) < 2:
        at = witnesses[0].place if witnesses else min(
            range(len(singles)), key=lambda k: (singles[k].question is None, singles[k].flags))
        return _finished(replace(singles[at], photos=photos, drawn_on=at), evidences)
    agreement = _agreement(witnesses)
    reference = min(witnesses, key=lambda w: (not w.alone, float(np.ptp(w.level.interval_mm)),
                                              w.evidence.photo.sha256))
    base = replace(singles[reference.place], photos=photos, agreement=agreement,
                   drawn_on=reference.place)
    if agreement.p_value < DISAGREE_P:
        return _finished(_disagreeing(base, witnesses, agreement), evidences)
    return _finished(_combined(base, reference, witnesses, grid), evidences)


def _heights(scale: Scale) -> np.ndarray:
    """Heights at which the level may be: the scale with room below and above."""
    low, high = sorted((scale.lowest_mark.height_mm, scale.highest_mark.height_mm))
    return np.arange(low - 12.0, high + 25.0, _STEP_MM)


# ------------------------------------------------------------------ what each photo says
def _witnesses(evidences: Sequence[PhotoEvidence], singles: Sequence[VolumeReading],
               grid: np.ndarray) -> list[_Witness]:
    """The photos that say something; one photo given twice counts once."""
    out: list[_Witness] = []
    seen: set[str] = set()
    for place, (e, reading) in enumerate(zip(evidences, singles, strict=True)):
        if e.level is None or e.meniscus is None or e.fit is None or not e.meniscus.modes:
            continue
        refusal = refusal_of(e)
        if refusal is not None and (refusal.flag not in _STILL_COUNTS
                                    or e.meniscus.p_absent > 0.5):
            continue
        if e.photo.sha256 in seen:
            continue
        seen.add(e.photo.sha256)
        even = 1.0 / (grid[-1] - grid[0])
        density = _density(e, grid)
        division_mm = e.scale.division_at(e.level.value) / max(
            value_per_mm(e.scale, e.level.level_mm), 1e-9)
        own = e.level.sd_mm(shared=False)
        tested = math.hypot(own, UNTOLD_DIVISIONS * division_mm)
        out.append(_Witness(
            place, e, e.level, np.log((1.0 - MISLED) * density + MISLED * even),
            np.log((1.0 - MISLED) * _blurred(density, own) + MISLED * even),
            np.log((1.0 - 0.1 * MISLED) * _blurred(density, tested) + 0.1 * MISLED * even),
            _direction(e), reading.status != "refused"))
    return out


def _that_fit(witnesses: list[_Witness]) -> list[_Witness]:
    """Those whose numbering is settled, and of the others those that tell the same level.

    Where a row may be numbered in several ways, or is no scale at all, that it does not fit
    says nothing against the photos that are numbered.
    """
    kept = [w for w in witnesses if not isinstance(w.evidence.numbering, Ambiguous)]
    for w in witnesses:
        if isinstance(w.evidence.numbering, Ambiguous) and kept and (
                _agreement([*kept, w]).p_value >= DISAGREE_P):
            kept.append(w)
    return sorted(kept, key=lambda w: w.place)


def _density(e: PhotoEvidence, grid: np.ndarray) -> np.ndarray:
    """(N,) probability per mm of each height of the grid, over all ways to understand the
    photo and all numberings that its marks allow; what is believed of none of them is spread
    over all heights, so that a place hardly believed in says hardly anything."""
    assert e.meniscus is not None
    total = np.zeros(len(grid))
    for shift_mm, share in _numberings(e):
        for mode in e.meniscus.modes:
            order = np.argsort(mode.level_mm)
            level = mode.level_mm[order] + shift_mm
            step = float(np.median(np.diff(level))) if len(level) > 1 else _STEP_MM
            # spread evenly within its bins
            p = np.interp(grid, level, mode.probability[order] / step, left=0.0, right=0.0)
            total += share * mode.weight * p
    believed = float(total.sum()) * _STEP_MM
    return total / max(believed, 1.0) + max(1.0 - believed, 0.0) / (grid[-1] - grid[0])


def _numberings(e: PhotoEvidence) -> list[tuple[float, float]]:
    """(height in mm by which all marks move, probability) of each numbering in question."""
    if not isinstance(e.numbering, Ambiguous):
        return [(0.0, 1.0)]
    evidence = e.numbering.fit.evidence
    keep = evidence.log_likelihood > evidence.log_likelihood.max() - _SHIFT_NATS
    weight = np.exp(evidence.log_likelihood[keep] - evidence.log_likelihood.max())
    return [(float(k * evidence.step_mm), float(w)) for k, w in zip(
        evidence.shifts[keep], weight / weight.sum(), strict=True)]


def _numbered_by_others(evidences: Sequence[PhotoEvidence]) -> list[PhotoEvidence]:
    """Photos whose numbering is unsettled, with the surface looked for, where the others prove
    which of the numberings that its marks allow is right."""
    proven = any(e.level is not None for e in evidences)
    return [with_level(e) if proven and _may_be_numbered(e) else e for e in evidences]


def _may_be_numbered(e: PhotoEvidence) -> bool:
    n = e.numbering
    return (isinstance(n, Ambiguous) and n.flags[-1] == "numbering-unsettled" and e.level is None
            and n.fit.relative_residual < LED_RESIDUAL
            and n.fit.evidence.margin(0) > HOPELESS_LOG_ODDS
            and len({m.length for m in n.fit.scale.marks}) > 0
            and _evenly_marked(n.fit.scale))


def _evenly_marked(scale: Scale) -> bool:
    """Whether a shift of the numbering moves all marks alike."""
    gap = np.diff([m.height_mm for m in scale.marks])
    return bool(np.ptp(gap) < 0.03 * abs(float(np.median(gap))))


def _direction(e: PhotoEvidence) -> np.ndarray:
    """(3,) where the camera stood, seen from the surface, turned with the print."""
    assert e.fit is not None and e.level is not None
    elevation = math.radians(e.level.elevation_deg)
    azimuth = -0.5 * sum(e.fit.core_rad)
    return np.array([math.cos(elevation) * math.sin(azimuth),
                     math.cos(elevation) * math.cos(azimuth), math.sin(elevation)])


def _blurred(density: np.ndarray, sd_mm: float) -> np.ndarray:
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(density, max(sd_mm / _STEP_MM, 0.3), mode="constant"))


def _sd(p: np.ndarray, grid: np.ndarray) -> float:
    mean = float(p @ grid)
    return math.sqrt(max(float(p @ (grid - mean) ** 2), 0.0))


# ------------------------------------------------------------------ do they tell the same
def _agreement(witnesses: Sequence[_Witness]) -> Agreement:
    from scipy.stats import chi2

    def statistic(group: Sequence[_Witness]) -> float:
        if len(group) < 2:
            return 0.0
        together = np.sum([w.tested for w in group], axis=0)
        return 2.0 * float(sum(w.tested.max() for w in group) - together.max())

    n, found = len(witnesses), statistic(witnesses)
    p = float(chi2.sf(found, n - 1))
    odd: int | None = None
    if p < DISAGREE_P and n > 2:
        without = [statistic([w for w in witnesses if w is not left]) for left in witnesses]
        first, second = sorted(without)[:2]
        if chi2.sf(first, n - 2) >= DISAGREE_P and second - first > _CLEARLY_ODD:
            odd = witnesses[int(np.argmin(without))].place
    return Agreement(found, n - 1, p, odd)


def _disagreeing(base: VolumeReading, witnesses: Sequence[_Witness], agreement: Agreement
                 ) -> VolumeReading:
    names = [f"photo {w.place + 1} shows {w.level.value:.1f} {base.unit}" for w in witnesses]
    if agreement.odd is not None:
        apart = (f"Photo {agreement.odd + 1} shows another level than the others: was fluid "
                 "drained between them, or is one of them another chamber?")
    else:
        apart = ("The photos show different levels: was fluid drained between them, or is one of "
                 "them another chamber?")
    return replace(
        base, status="refused", value=None, interval=None, naive_value=None, budget=(),
        question=Question("what-happened", "What happened between the photos?"),
        flags=("photos-disagree",), reasons=(f"{apart} ({'; '.join(names)})",))


# ------------------------------------------------------------------ the level of all
def _combined(base: VolumeReading, reference: _Witness, witnesses: Sequence[_Witness],
              grid: np.ndarray) -> VolumeReading:
    scale, level = reference.evidence.scale, reference.level
    p = _together(witnesses, [w.log_density for w in witnesses])
    read = [w for w in witnesses if w.alone]
    at = float(np.interp(0.5, np.cumsum(p) - 0.5 * p, grid))
    # as for one photo: by the networks' own word
    word = _together(witnesses, [w.word for w in witnesses])
    whole = len(grid) // _COARSE * _COARSE
    coarse = grid[:whole].reshape(-1, _COARSE).mean(axis=1)
    in_coarse = word[:whole].reshape(-1, _COARSE).sum(axis=1)
    tail = 0.025
    if _risk(at, coarse, in_coarse, scale) > LARGEST_CHANCE:
        at = least_moved_mm(at, coarse, in_coarse, scale, LARGEST_CHANCE)
        tail = 0.5 * LARGEST_CHANCE
    if _risk(at, coarse, in_coarse, scale) > LARGEST_CHANCE:
        return replace(base, status="refused", value=None, interval=None, naive_value=None,
                       budget=(), question=None, flags=("meniscus-uncertain",),
                       reasons=("The photos together leave the level open by more than a "
                                "division.  " + sentence_of("meniscus-uncertain"),))
    shared = level.sd_mm(shared=True)
    per_mm = value_per_mm(scale, at)
    tolerance = (scale.tolerance or 0.0) / per_mm
    low, high = percentiles(grid, _blurred(p, shared), tolerance, tail)
    if read and len(read) < len(witnesses):
        # what was refused alone may say which of two levels it is, but makes none surer
        p_read = _together(read, [w.log_density for w in read])
        least = percentiles(grid, _blurred(p_read, shared), tolerance, tail)
        low = min(low, at - 0.5 * (least[1] - least[0]))
        high = max(high, at + 0.5 * (least[1] - least[0]))
    value = float(scale.value_at(at))
    bounds = sorted((float(scale.value_at(low)), float(scale.value_at(high))))
    own = HeightTerm(f"level from {len(witnesses)} photos", _sd(p, grid),
                     "meniscus, edge, marks and view of each; wetting in common", False)
    terms = [own, *(t for t in level.terms if t.shared)]
    budget: tuple[BudgetTerm, ...] = budget_terms(terms, scale, per_mm)
    status, flag = range_status(scale, value)
    said = {f: r for f, r in zip(base.flags, base.reasons, strict=True)
            if all(f in w_flags for w_flags in _flags_of(base, witnesses))}
    if flag:
        said[flag] = sentence_of(flag)
    return replace(
        base, status=status, value=value if status == "read" else None,
        interval=(bounds[0], bounds[1]) if status == "read" else None,
        naive_value=level.naive_value if status == "read" else None,
        division=scale.division_at(value), budget=budget if status == "read" else (),
        flags=tuple(said), reasons=tuple(said.values()), question=None,
        candidates=(value,),
        annotations=level_annotations(base.annotations, reference.evidence.fit, at, (low, high),
                                      value))


def _flags_of(base: VolumeReading, witnesses: Sequence[_Witness]) -> list[tuple[str, ...]]:
    return [base.photos[w.place].flags for w in witnesses]


def _together(witnesses: Sequence[_Witness], logs: Sequence[np.ndarray]) -> np.ndarray:
    """(N,) probability of each height: the product of what they say, flattened to what the set is
    worth."""
    n = len(witnesses)
    d = np.stack([w.direction for w in witnesses])
    apart = np.degrees(np.arccos(np.clip(d @ d.T, -1.0, 1.0)))
    rho = COMMON_SHARE + (1.0 - COMMON_SHARE) * np.exp(-0.5 * (apart / APART_DEG) ** 2)
    np.fill_diagonal(rho, 1.0)
    total = np.sum(logs, axis=0) * (n / float(rho.sum()))
    p = np.exp(total - total.max())
    return np.asarray(p / p.sum())


def _risk(at_mm: float, level_mm: np.ndarray, probability: np.ndarray, scale: Scale) -> float:
    return float(chance_of_misreading(np.array([at_mm]), level_mm, probability, scale)[0])


# ------------------------------------------------------------------ around it
def _finished(reading: VolumeReading, evidences: Sequence[PhotoEvidence]) -> VolumeReading:
    """With what has to be said of the set as a whole."""
    times = [e.photo.taken_min for e in evidences if e.photo.taken_min is not None]
    if len(times) < 2 or max(times) - min(times) <= APART_IN_TIME_MIN:
        return reading
    flag = "photos-apart-in-time"
    apart = max(times) - min(times)
    return replace(reading, flags=(*reading.flags, flag), reasons=(
        *reading.reasons, f"{apart:.0f} minutes lie between the photos: fluid may have run. "
        "Take them one right after the other."))

"""Several photos of the same two cards: one vertical, one offset.

A line of one photo says in which plane the body that it shows stands; the same body seen from
beside says another plane, and the two meet in its axis.  So a cord that hangs plumb gives the
vertical in full from two places, where from one it leaves open how far it leans towards the
phone.  Each photo has poses of its own; how far pole, panel and cord are off plumb is shared
(correlated input quantities, JCGM 100:2008, 5.2.2), and so are the printed sizes of the cards.

The frame of the zero card ties the photos together: the landmark has to lie in the same place
of it in all of them.  Where it does not, something was moved between the photos.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import islice, product

import numpy as np

from vision.errors import InputError
from vision.fiducials.pose import CardPose, turned
from vision.level.decide import decide
from vision.level.evidence import LevelEvidence
from vision.level.fuse import FusedGravity, Placed, Scenario
from vision.level.offset import estimate_offset
from vision.level.result import LevelPhoto, LevelReading, hangs_words
from vision.parameters import DISAGREE_P, LENS_SHARE, MOST_PHOTOS, PRINT_SHARE, WORST_CUES_CHI2
from vision.reading import Agreement
from vision.vertical.cue import Elsewhere, PlumbCue
from vision.vertical.fusion import at_odds_with_itself, fuse

#: Ways to understand one photo that are followed: the likeliest, down to this weight; and so
#: many ways to understand all photos together.  Our choice.
_LEAST_WEIGHT, _MOST_WAYS = 0.005, 200
#: Errors of one photo: turn (3) and centre (3) of the zero card, then the landmark (3).
_OWN = 9


@dataclass(frozen=True)
class _Tied:
    """One way to understand all photos, with the poses moved to where the landmark lies in one
    place: corrections (9 N,) with their covariance, and the misfit before."""

    scenarios: tuple[Scenario, ...]
    zeros: tuple[CardPose, ...]
    landmark: Placed
    covariance: np.ndarray
    misfit: float


def combine_levels(evidences: Sequence[LevelEvidence]) -> LevelReading:
    """One level from the evidence of several photos of the same cards.

    Parameters
    ----------
    evidences : sequence of LevelEvidence
        From :func:`vision.level.evidence.gather`, both cards in each, in any order.  Nothing
        may have been moved between the photos.

    Returns
    -------
    LevelReading
        As for one photo, with ``photos`` and ``agreement``.  Where the landmark does not lie in
        the same place beside the zero card the photos disagree and nothing is measured.

    Raises
    ------
    InputError
        Without a photo or with too many, or with points that were tapped.

    References
    ----------
    JCGM 100:2008, 5.2.2 (what photos share); R. E. Kalman, J. Basic Eng. 82, 1960, 35 (the poses
    moved to agree).
    """
    check_count(evidences)
    if len(evidences) == 1:
        return decide(evidences[0])
    if any(e.inputs.mode != "cards" for e in evidences):
        raise InputError("Several photos are put together by both cards in each of them: leave "
                         "out what was tapped, or give one photo.")
    singles = [decide(e) for e in evidences]
    photos = tuple(LevelPhoto(e.photo.name, r) for e, r in zip(evidences, singles, strict=True))
    usable = {e.photo.sha256: k for k, e in enumerate(evidences) if e.offset is not None}
    places = sorted(usable.values(), key=lambda k: (_width(evidences[k]),
                                                    evidences[k].photo.sha256))
    drawn_on = places[0] if places else 0
    alone = replace(singles[drawn_on], photos=photos, drawn_on=drawn_on)
    if len(places) < 2:
        return alone
    ordered = [evidences[k] for k in places]
    ways = [_tie(ordered, scenarios) for scenarios in _ways(ordered)]
    scenarios, misfit = _fused(ordered, ways)
    agreement = _agreement(misfit, len(ordered))
    if agreement.p_value < DISAGREE_P:
        return _disagreeing(replace(alone, agreement=agreement))
    if not scenarios:
        return replace(alone, agreement=agreement)
    fused = FusedGravity(scenarios)
    together = replace(ordered[0], fused=fused,
                       offset=estimate_offset(ordered[0].cards, fused))
    return replace(decide(together), photos=photos, agreement=agreement, drawn_on=drawn_on)


def check_count(photos: Sequence[object]) -> None:
    """InputError for none or too many."""
    if not 1 <= len(photos) <= MOST_PHOTOS:
        raise InputError(f"Give one photo, or up to {MOST_PHOTOS} of the same cards.")


def _width(e: LevelEvidence) -> float:
    assert e.offset is not None
    return float(np.ptp(e.offset.interval_mm))


def _ways(evidences: Sequence[LevelEvidence]) -> list[tuple[Scenario, ...]]:
    """Combinations of the likeliest ways to understand each photo, the likeliest first."""
    kept = []
    for e in evidences:
        assert e.fused is not None
        by_weight = sorted(zip(e.fused.weights, e.fused.scenarios, strict=True),
                           key=lambda pair: -pair[0])
        kept.append([s for w, s in by_weight if w > _LEAST_WEIGHT])
    return list(islice(product(*kept), _MOST_WAYS))


# ------------------------------------------------------------------ the photos tied together
def _tie(evidences: Sequence[LevelEvidence], scenarios: tuple[Scenario, ...]) -> _Tied:
    """Move all poses, within their doubt, to where the landmark lies in one place."""
    n = len(scenarios)
    covariance = np.zeros((_OWN * n, _OWN * n))
    places, effects, cameras, slack = [], [], [], []
    for i, (e, s) in enumerate(zip(evidences, scenarios, strict=True)):
        assert s.zero.pose is not None and s.landmark.pose is not None
        zero, at = s.zero.pose, slice(_OWN * i, _OWN * i + _OWN)
        centre, landmark = zero.point(s.zero.at_mm), s.landmark.pose.point(s.landmark.at_mm)
        covariance[at, at] = np.block([
            [zero.covariance, np.zeros((6, 3))], [np.zeros((3, 6)), _point_covariance(s.landmark)]])
        back, apart = zero.rotation.T, landmark - centre
        effect = np.zeros((3, _OWN * n))
        effect[:, at] = np.hstack([back @ _cross(apart), -back, back])
        places.append(back @ apart)
        effects.append(effect)
        cameras.append(-back @ centre)
        slack.append(_slack(e, s, centre, apart))
    # Each photo against the first.
    gap = np.concatenate([p - places[0] for p in places[1:]])
    effect = np.vstack([f - effects[0] for f in effects[1:]])
    # A card printed too large stands too far from every camera, each along its own sight line.
    steps = np.concatenate([c - cameras[0] for c in cameras[1:]])
    floor = np.kron(np.ones((n - 1, n - 1)), slack[0]) + 2 * PRINT_SHARE**2 * np.outer(steps, steps)
    for i, own in enumerate(slack[1:]):
        floor[3 * i:3 * i + 3, 3 * i:3 * i + 3] += own
    inverse = np.linalg.inv(effect @ covariance @ effect.T + floor)
    gain = covariance @ effect.T @ inverse
    change = -gain @ gap
    left = covariance - gain @ effect @ covariance
    zeros = []
    for i, s in enumerate(scenarios):
        assert s.zero.pose is not None
        own = change[_OWN * i:_OWN * i + _OWN]
        pose = slice(_OWN * i, _OWN * i + 6)
        zeros.append(replace(
            s.zero.pose, rotation=turned(s.zero.pose.rotation, own[:3]),
            centre_mm=s.zero.pose.centre_mm + own[3:6], covariance=left[pose, pose]))
    first = scenarios[0].landmark
    assert first.pose is not None
    held = replace(first, pose=replace(
        first.pose, centre_mm=first.pose.centre_mm + change[6:_OWN]))
    return _Tied(scenarios, tuple(zeros), held, left, float(gap @ inverse @ gap))


def _point_covariance(p: Placed) -> np.ndarray:
    """(3, 3) covariance of a point of a card."""
    assert p.pose is not None
    turn = np.hstack([-_cross(p.pose.point(p.at_mm) - p.pose.centre_mm), np.eye(3)])
    return np.asarray(turn @ p.pose.covariance @ turn.T)


def _slack(e: LevelEvidence, s: Scenario, centre: np.ndarray, apart: np.ndarray) -> np.ndarray:
    """(3, 3) how far a photo misplaces the landmark by its lens and its focal length, in the
    frame of the zero card."""
    assert s.zero.pose is not None and e.gathered is not None
    pixel = LENS_SHARE * math.hypot(*e.cards.picture.working_size) / s.focal_px
    lens = math.sqrt(2) * pixel * float(np.linalg.norm(centre))
    # Depth goes with the focal length, which is known to half the step between those tried.
    tried = np.sort(np.log([g.focal_px for g in e.gathered.focals]))
    near = int(np.argmin(np.abs(tried - math.log(s.focal_px))))
    steps = np.diff(tried)
    step = float(steps[max(near - 1, 0):near + 1].mean()) if len(steps) else 0.0
    depth = s.zero.pose.rotation.T @ np.array([0.0, 0.0, apart[2] * step / 2])
    return np.asarray(lens**2 * np.eye(3) + np.outer(depth, depth))


def _cross(a: np.ndarray) -> np.ndarray:
    """(3, 3) matrix of the cross product with ``a`` on the left."""
    return np.array([[0, -a[2], a[1]], [a[2], 0, -a[0]], [-a[1], a[0], 0]])


# ------------------------------------------------------------------ one vertical
def _fused(evidences: Sequence[LevelEvidence], ways: Sequence[_Tied]
           ) -> tuple[tuple[Scenario, ...], float]:
    """Gravity under each way to understand all photos, and the misfit of the likeliest."""
    found: list[Scenario] = []
    misfits = []
    for tied in ways:
        camera = evidences[0].cards.camera(tied.scenarios[0].focal_px)
        down = -tied.zeros[0].rotation[:, 1]
        gravity = fuse(_bodies(evidences, tied, camera, down), camera, down)
        if gravity is not None and gravity.bad_p > 0.5:
            # Something is not what it seems.  Two lines always meet: where they are not of one
            # body, they meet anywhere; apart, the wrong one can be told.
            apart = fuse(_bodies(evidences, tied, camera, down, joined=False), camera, down)
            if apart is not None and apart.excess < gravity.excess:
                gravity = apart
        if gravity is None:
            continue
        # The cues count once, together, in place of those of each photo.
        weight = sum(s.log_weight + min(s.gravity.excess, WORST_CUES_CHI2) / 2
                     for s in tied.scenarios)
        weight -= (tied.misfit + min(gravity.excess, WORST_CUES_CHI2)) / 2
        found.append(Scenario(weight, tied.scenarios[0].focal_px, gravity,
                              replace(tied.scenarios[0].zero, pose=tied.zeros[0]), tied.landmark))
        misfits.append(tied.misfit)
    if not found:
        return (), min((t.misfit for t in ways), default=0.0)
    return tuple(found), misfits[int(np.argmax([s.log_weight for s in found]))]


def _bodies(evidences: Sequence[LevelEvidence], tied: _Tied, camera: np.ndarray,
            down: np.ndarray, *, joined: bool = True) -> list[PlumbCue]:
    """The cues of all photos in the frame of the first: each body once, if ``joined``."""
    seen: dict[tuple[str, bool], list[tuple[int, PlumbCue]]] = {}
    for i, (e, s) in enumerate(zip(evidences, tied.scenarios, strict=True)):
        assert e.gathered is not None
        for cue in e.gathered.for_pose(s.zero.pose):
            pose = None if cue.pose is None else tied.zeros[i]
            seen.setdefault((cue.name, pose is not None), []).append((i, replace(cue, pose=pose)))
    if ("hung panel", True) in seen:
        # It carries the card, in every photo: lines that do not go with the card are not its own.
        for other in (("zero card", True), ("hung panel", False)):
            seen.pop(other, None)
    bodies = []
    for (_, carries), sightings in seen.items():
        body = _body(evidences, tied, sightings)
        if carries or (joined and not at_odds_with_itself(body, camera, down)):
            bodies.append(body)
            continue
        # Each by itself, so that it can be left out by itself; as far off plumb in all photos,
        # which each may count for its share only.
        share = math.sqrt(len(sightings))
        bodies += [replace(one, sideways_deg=one.sideways_deg * share,
                           outwards_deg=one.outwards_deg * share)
                   for one in (_body(evidences, tied, [each]) for each in sightings)]
    return bodies


def _body(evidences: Sequence[LevelEvidence], tied: _Tied,
          sightings: Sequence[tuple[int, PlumbCue]]) -> PlumbCue:
    """One body with all its sightings, seen from the first photo."""
    own = next((cue for i, cue in sightings if i == 0), None)
    model = sightings[0][1] if own is None else own
    carries = any(cue.pose is not None for _, cue in sightings)
    elsewhere = []
    for i, cue in sightings:
        if i == 0:
            continue
        turn = tied.zeros[i].rotation @ tied.zeros[0].rotation.T
        effect = np.zeros((3, len(tied.covariance)))
        effect[:, :3], effect[:, _OWN * i:_OWN * i + 3] = -turn, np.eye(3)
        elsewhere.append(Elsewhere(
            cue, evidences[i].cards.camera(tied.scenarios[i].focal_px), turn,
            effect @ tied.covariance @ effect.T))
    return replace(
        model, lines_px=() if own is None else own.lines_px,
        line_sd_px=() if own is None else own.line_sd_px,
        direction=None if own is None else own.direction,
        pose=tied.zeros[0] if carries else None, elsewhere=tuple(elsewhere))


# ------------------------------------------------------------------ do they show the same
def _agreement(misfit: float, photos: int) -> Agreement:
    """Whether the landmark lies in one place of the zero card's frame."""
    from scipy.stats import chi2

    free = 3 * (photos - 1)
    return Agreement(misfit, free, float(chi2.sf(misfit, free)))


def _disagreeing(base: LevelReading) -> LevelReading:
    shown = "; ".join(f"photo {k + 1} shows {hangs_words(p.reading.offset_cm)}"
                      for k, p in enumerate(base.photos) if p.reading.offset_cm is not None)
    return replace(
        base, status="refused", offset_cm=None, interval_cm=None, standard_uncertainty_cm=None,
        budget=(), coach="", flags=("photos-disagree",),
        reasons=("The photos do not show the cards in the same places: was the system, the bed or "
                 f"a card moved between them? ({shown})",))

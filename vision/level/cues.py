"""Second stage: what in the photo may be plumb, for each way in which the zero card is seen."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.fiducials.cards import CardSeen
from vision.fiducials.pose import CardPose
from vision.level.focal_prior import FocalGuess, focal_guesses
from vision.level.locate import LocatedCards
from vision.parameters import RULED_OUT_CHI2
from vision.vertical.collect import CuesFound, plumb_cues
from vision.vertical.cue import PlumbCue, phone_cue
from vision.vertical.line_segments import StraightEdge, distinct, upright_edges, with_more_contrast


@dataclass(frozen=True)
class PoseCues:
    """The cues found when the zero card stands as ``pose`` says; None where it is not seen."""

    pose: CardPose | None
    cues: tuple[PlumbCue, ...]


@dataclass(frozen=True)
class GatheredCues:
    """Focal lengths that the photo may have, and the plumb cues at the likeliest of them."""

    focals: tuple[FocalGuess, ...]
    focal_known: bool
    likeliest: FocalGuess
    by_pose: tuple[PoseCues, ...]

    def for_pose(self, zero: CardPose | None) -> list[PlumbCue]:
        """The cues found for the most similar pose, with the pose at hand in its place."""
        if zero is None:
            return list(self.by_pose[0].cues)
        alike = [(float(np.trace(p.pose.rotation.T @ zero.rotation)), p.cues)
                 for p in self.by_pose if p.pose is not None]
        best = max(alike, key=lambda a: a[0], default=(0.0, ()))[1]
        return [replace(c, pose=zero) if c.pose is not None else c for c in best]


def gather_cues(cards: LocatedCards) -> GatheredCues:
    """Plumb cues, looked for at the likeliest focal length, for each pose of the zero card.

    Which lines may be plumb depends on which way round the card is seen; a pose
    that the corners rule out is not followed.
    """
    picture = cards.picture
    guesses, known = focal_guesses(picture.camera, *picture.working_size, cards.inputs.focal_35mm)
    likeliest = _likeliest(guesses, cards)
    camera = cards.camera(likeliest.focal_px)
    zero, landmark = cards.zero(), cards.landmark()
    if zero is not None:
        by_pose = _by_pose(picture.working_rgb, zero, cards.inputs.zero.side_mm,
                           possible(cards.poses(zero, camera)), camera)
    else:
        assert landmark is not None
        edges = upright_edges(picture.working_rgb, camera @ np.array([0.0, 1.0, 0.0]), 10.0)
        found = plumb_cues(picture.working_rgb, edges, landmark, None,
                           cards.inputs.landmark.side_mm, camera)
        by_pose = (PoseCues(None, tuple(found.cues)),)
    if picture.camera.gravity is not None:
        phone = phone_cue(picture.camera.gravity)
        by_pose = tuple(replace(p, cues=(*p.cues, phone)) for p in by_pose)
    return GatheredCues(tuple(guesses), known, likeliest, by_pose)


def possible(poses: list[CardPose]) -> list[CardPose]:
    """The poses that the corners of the card do not rule out."""
    return [p for p in poses if p.misfit <= poses[0].misfit + RULED_OUT_CHI2]


def _likeliest(guesses: list[FocalGuess], cards: LocatedCards) -> FocalGuess:
    """The focal length that prior and perspective of the cards favour."""

    def score(guess: FocalGuess) -> float:
        camera = cards.camera(guess.focal_px)
        poses = [cards.poses(card, camera) for card in cards.all()]
        return math.log(guess.weight) - sum(p[0].misfit for p in poses if p) / 2

    return max(guesses, key=score)


def _by_pose(rgb: np.ndarray, card: CardSeen, side_mm: float, poses: list[CardPose],
             camera: np.ndarray) -> tuple[PoseCues, ...]:
    """The cues under each pose of the zero card."""
    # All poses are judged by the same edges: weights of different data say nothing.
    edges = _edges(rgb, poses, camera)

    def search(rgb: np.ndarray, edges: list[StraightEdge], pose: CardPose,
               known: CuesFound | None = None) -> CuesFound:
        return plumb_cues(rgb, edges, card, pose, side_mm, camera, known)

    found = [search(rgb, edges, p) for p in poses]
    if any(mine.panel is None for mine in found):
        # A pale panel before a pale wall.
        clear = with_more_contrast(rgb)
        clear_edges = _edges(clear, poses, camera)
        for i, pose in enumerate(poses):
            again = search(clear, clear_edges, pose)
            if again.panel is not None and found[i].panel is None:
                # It covers the pole, and its sides are no pole's.
                found[i] = search(rgb, edges, pose, again)
            found[i] = _added(found[i], again)
    cues = _same_panel(poses, [mine.cues for mine in found])
    return tuple(PoseCues(p, tuple(c)) for p, c in zip(poses, cues, strict=True))


def _same_panel(poses: list[CardPose], found: list[list[PlumbCue]]) -> list[list[PlumbCue]]:
    """Cues per pose, with a panel on which the card lies under one pose held against all.

    Under a wrong pose the card seems to stick out of its panel; the panel would not be
    recognised then, and could not speak against that pose.
    """
    panel = next((c for mine in found for c in mine
                  if c.name == "hung panel" and c.pose is not None), None)
    if panel is None:
        return found
    return [mine if any(c.name == "hung panel" for c in mine)
            else [c for c in mine if c.name != "zero card"] + [replace(panel, pose=pose)]
            for pose, mine in zip(poses, found, strict=True)]


def _edges(rgb: np.ndarray, poses: list[CardPose], camera: np.ndarray) -> list[StraightEdge]:
    """Edges about upright under any of the poses of the zero card, each once."""
    return distinct(e for pose in poses
                    for e in upright_edges(rgb, camera @ -pose.rotation[:, 1]))


def _added(found: CuesFound, again: CuesFound) -> CuesFound:
    """The cues of a second search beside those of the first, which go before."""
    names = {c.name for c in found.cues}
    new = [c for c in again.cues if c.name not in names and c.name != "hung panel"
           and (c.name != "zero card" or not found.cues)]
    return replace(found, cues=found.cues + new)

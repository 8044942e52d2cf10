"""First stage: the cards in the photo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from vision.fiducials.cards import CardKind, CardSeen, find_cards
from vision.fiducials.pose import CardPose, camera_matrix, card_poses
from vision.imaging.photo import Photo
from vision.level.inputs import LevelInputs

#: The pictures that are searched, in this order; the next one only while a card is missing.
STRATEGIES: tuple[tuple[str, Callable[[Photo], Photo]], ...] = (
    ("working picture", lambda photo: photo),
    ("full picture", Photo.at_full_size),
)


@dataclass(frozen=True)
class LocatedCards:
    """Cards found, by code, in pixels of the working picture of ``picture``; ``strategy`` says
    which picture that is."""

    picture: Photo
    inputs: LevelInputs
    found: dict[int, list[CardSeen]]
    strategy: str
    #: Poses found so far: two stages ask for those of every focal length.
    _poses: dict[tuple[int, bytes], tuple[CardSeen, list[CardPose]]] = field(
        default_factory=dict, init=False, repr=False, compare=False)

    @property
    def doubled(self) -> CardKind | None:
        """A kind of card of which more than one was found."""
        return next((kind for kind in (self.inputs.zero, self.inputs.landmark)
                     if len(self.found.get(kind.code, [])) > 1), None)

    @property
    def missing(self) -> Literal["", "any", "zero", "landmark"]:
        """What would have to be there and is not; one card is enough where both are tapped."""
        zero_tapped, landmark_tapped = (
            p is not None for p in (self.inputs.zero_px, self.inputs.landmark_px))
        if zero_tapped and landmark_tapped:
            return "" if self.found else "any"
        if not zero_tapped and self.inputs.zero.code not in self.found:
            return "zero"
        return "" if landmark_tapped or self.inputs.landmark.code in self.found else "landmark"

    @property
    def complete(self) -> bool:
        """Whether the level can be measured with these cards."""
        return self.doubled is None and not self.missing

    def zero(self) -> CardSeen | None:
        """The zero card, if there."""
        return next(iter(self.found.get(self.inputs.zero.code, [])), None)

    def landmark(self) -> CardSeen | None:
        """The landmark card, if there."""
        return next(iter(self.found.get(self.inputs.landmark.code, [])), None)

    def all(self) -> list[CardSeen]:
        """Every card found."""
        return [card for cards in self.found.values() for card in cards]

    def camera(self, focal_px: float) -> np.ndarray:
        """(3, 3) camera of the working picture with that focal length."""
        return camera_matrix(focal_px, *self.picture.working_size)

    def poses(self, card: CardSeen, camera: np.ndarray) -> list[CardPose]:
        """The ways in which one of these cards may stand before a camera, best first."""
        asked = (id(card), camera.tobytes())
        if asked not in self._poses:  # the card is kept as well, so that no other has its id
            kind = self.inputs.zero if card.code == self.inputs.zero.code else self.inputs.landmark
            self._poses[asked] = card, card_poses(card, kind, camera)
        return [*self._poses[asked][1]]


def locate_cards(photo: Photo, inputs: LevelInputs) -> LocatedCards:
    """The cards that are asked for: in the working picture first, which has pixels enough
    unless they are tiny, else in the full photo."""
    for strategy, picture_of in STRATEGIES:
        picture = picture_of(photo)
        cards = LocatedCards(picture, inputs, find_cards(picture.working_rgb, inputs.codes),
                             strategy)
        if cards.complete or picture.working_scale == 1:
            break
    return cards

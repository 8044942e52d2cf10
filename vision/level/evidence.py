"""All that the stages found in one photo: what a level, or a refusal, is decided from."""

from __future__ import annotations

from dataclasses import dataclass

from vision.imaging.photo import Photo
from vision.level.cues import GatheredCues, gather_cues
from vision.level.fuse import FusedGravity, fuse_cues
from vision.level.inputs import LevelInputs
from vision.level.locate import LocatedCards, locate_cards
from vision.level.offset import OffsetEstimate, estimate_offset


@dataclass(frozen=True)
class LevelEvidence:
    """What each stage said of one photo; None from the stage on that gave up."""

    photo: Photo
    inputs: LevelInputs
    cards: LocatedCards
    gathered: GatheredCues | None = None
    fused: FusedGravity | None = None
    offset: OffsetEstimate | None = None


def gather(photo: Photo, inputs: LevelInputs) -> LevelEvidence:
    """Locate the cards, gather cues, fuse them, estimate the offset: all but the decision."""
    cards = locate_cards(photo, inputs)
    if not cards.complete:
        return LevelEvidence(photo, inputs, cards)
    gathered = gather_cues(cards)
    fused = fuse_cues(cards, gathered)
    offset = None if fused is None else estimate_offset(cards, fused)
    return LevelEvidence(photo, inputs, cards, gathered, fused, offset)

"""What the level of one photo may be asked with, and what cannot be meant."""

from __future__ import annotations

from dataclasses import dataclass

from vision.errors import InputError
from vision.fiducials.cards import CardKind, landmark_card, zero_card
from vision.imaging.photo import Photo
from vision.level.result import LevelMode

Point = tuple[float, float]


@dataclass(frozen=True)
class LevelInputs:
    """What a person told about the photo; see :func:`vision.level.read.read_level`."""

    zero: CardKind
    landmark: CardKind
    landmark_px: Point | None = None
    zero_px: Point | None = None
    depth_difference_mm: float | None = None
    focal_35mm: float | None = None
    tolerance_mm: float | None = None

    @property
    def mode(self) -> LevelMode:
        """How the two points are known."""
        if self.landmark_px is None and self.zero_px is None:
            return "cards"
        return "tap" if self.depth_difference_mm is not None else "horizon"

    @property
    def codes(self) -> tuple[int, ...]:
        """The cards to look for: those that no tap replaces; any, if both points are tapped."""
        wanted = tuple(kind.code for kind, tapped in (
            (self.zero, self.zero_px), (self.landmark, self.landmark_px)) if tapped is None)
        return wanted or (self.zero.code, self.landmark.code)


def level_inputs(photo: Photo, zero_card_mm: float = 60.0, landmark_card_mm: float = 40.0,
                 landmark_px: Point | None = None, zero_px: Point | None = None,
                 depth_difference_mm: float | None = None, focal_35mm: float | None = None,
                 tolerance_mm: float | None = None) -> LevelInputs:
    """What was told, as in :func:`vision.level.read.read_level`; InputError for what cannot be
    meant."""
    for name, side in (("zero", zero_card_mm), ("landmark", landmark_card_mm)):
        if not 10 <= side <= 400:  # nor what is not a number
            raise InputError(f"The side of the {name} card must be between 10 and 400 mm.")
    for name, point in (("landmark", landmark_px), ("zero reference", zero_px)):
        if point is not None and not photo.holds(point):
            raise InputError(f"The {name} lies outside the photo, which is {photo.width} x"
                             f" {photo.height} pixels.")
    if depth_difference_mm is not None and not abs(depth_difference_mm) <= 3000:
        raise InputError("The depth difference must be a number of mm, 3000 at most.")
    if focal_35mm is not None and not 8 <= focal_35mm <= 400:
        raise InputError("The 35 mm-equivalent focal length must be between 8 and 400 mm.")
    if tolerance_mm is not None and not 0 < tolerance_mm <= 200:
        raise InputError("The tolerance for level must be more than 0 and at most 200 mm.")
    return LevelInputs(zero_card(zero_card_mm), landmark_card(landmark_card_mm), landmark_px,
                       zero_px, depth_difference_mm, focal_35mm, tolerance_mm)

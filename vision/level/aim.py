"""A light, fast look for the two cards in a live picture: what is missing, and how to move."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.fiducials.cards import glimpse_cards, zero_card
from vision.imaging.aim import DARK, Aim, higher_or_lower, shares, too_dark
from vision.imaging.camera import FILM_DIAGONAL_MM
from vision.imaging.photo import load_photo
from vision.parameters import AIM_CARD_PX, AIM_FOCAL_35MM, SAME_HEIGHT_MM

_NAMES = {0: "the zero card", 1: "the landmark card"}


def aim_at_cards(frame: bytes, photo_px_per_px: float = 1.0,
                 down: Sequence[float] | None = None) -> Aim:
    """Look for the zero card and the landmark card in a live picture.

    Parameters and errors as in :func:`vision.volume.aim.aim_at_chamber`; ``down`` is where down is
    by the phone, in the camera's frame.  Then ``too_high_mm`` is how high the camera is over the
    zero reference, and where the landmark card is missing, so that the landmark will be tapped,
    the hand is led to the height of the zero reference: there no depth matters.
    """
    photo = load_photo(frame)
    if too_dark(photo.working_rgb):
        return Aim(False, False, DARK)
    found = glimpse_cards(photo.working_rgb)
    outlines = tuple(shares(found[code] * photo.working_scale, photo.width, photo.height)
                     for code in sorted(found))
    missing = [name for code, name in _NAMES.items() if code not in found]
    high = None
    if 0 in found and down is not None:
        high = _above_mm(found[0], photo.working_size, np.asarray(down, dtype=float))
    if missing:
        words = f"Bring {' and '.join(missing)} into the picture, unfolded and not covered."
        if missing == [_NAMES[1]] and high is not None:
            words += " To tap the landmark instead: " + (
                "the phone is at the height of the zero reference, take the photos."
                if abs(high) < SAME_HEIGHT_MM else higher_or_lower(high).lower())
        return Aim(False, False, words, outlines, too_high_mm=high)
    sides = [max(abs(corners[0] - corners[2])) for corners in found.values()]
    if min(sides) * photo.working_scale * photo_px_per_px < AIM_CARD_PX:
        return Aim(True, False, "Too far: come nearer, with both cards in the picture.", outlines,
                   too_high_mm=high)
    return Aim(True, True, "Both cards seen: hold still and take the photos.", outlines,
               too_high_mm=high)


def _above_mm(corners: np.ndarray, size: tuple[int, int], down: np.ndarray) -> float:
    """How high the camera is over the centre of a zero card with these (4, 2) corners, for a
    ``size`` (width, height) of the picture, px."""
    focal = AIM_FOCAL_35MM / FILM_DIAGONAL_MM * float(np.hypot(*size))
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
    # A card that is turned away looks narrower, not smaller.
    away = zero_card().side_mm / float(sides.max())
    x, y = corners.mean(axis=0) - (np.array(size) - 1) / 2
    return float(away * (down @ np.array([x, y, focal])) / np.linalg.norm(down))

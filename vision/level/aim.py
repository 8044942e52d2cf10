"""A light, fast look for the two cards in a live picture: what is missing, and how to move."""

from __future__ import annotations

from vision.fiducials.cards import glimpse_cards
from vision.imaging.aim import DARK, Aim, shares, too_dark
from vision.imaging.photo import load_photo
from vision.parameters import AIM_CARD_PX

_NAMES = {0: "the zero card", 1: "the landmark card"}


def aim_at_cards(frame: bytes, photo_px_per_px: float = 1.0) -> Aim:
    """Look for the zero card and the landmark card in a live picture.

    Parameters and errors as in :func:`vision.volume.aim.aim_at_chamber`.
    """
    photo = load_photo(frame)
    if too_dark(photo.working_rgb):
        return Aim(False, False, DARK)
    found = glimpse_cards(photo.working_rgb)
    outlines = tuple(shares(found[code] * photo.working_scale, photo.width, photo.height)
                     for code in sorted(found))
    missing = [name for code, name in _NAMES.items() if code not in found]
    if missing:
        return Aim(False, False, f"Bring {' and '.join(missing)} into the picture, unfolded and "
                                 "not covered.", outlines)
    sides = [max(abs(corners[0] - corners[2])) for corners in found.values()]
    if min(sides) * photo.working_scale * photo_px_per_px < AIM_CARD_PX:
        return Aim(True, False, "Too far: come nearer, with both cards in the picture.", outlines)
    return Aim(True, True, "Both cards seen: hold still and take the photos.", outlines)

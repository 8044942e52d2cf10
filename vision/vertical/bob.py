"""The round bob at the lower end of a cord, by its outline.

What lies behind a bob may change on any side of it: the floor begins there, a picture ends, a
tube hangs beside.  A disc of one tone that is parted from whatever is around it all the way round
is a bob all the same; the border of a board or the foot of a tube is not.
"""

from __future__ import annotations

import numpy as np

from vision.parameters import BOB_MM

#: Directions about the bob (rad from straight down), without those in which the cord is, and from
#: where on they lead up beside it; where the bob is looked at within (shares of its radius) and
#: how far outside (share, and at least px).
_DIRECTIONS, _ABOVE = np.radians(np.arange(-140.0, 141.0, 10.0)), np.radians(100.0)
_WITHIN, _OUTSIDE, _OUTSIDE_PX = (0.0, 0.3, 0.6), 1.4, 2.5
#: Radii that are tried, each so much larger than the last; how far a line is blurred, px.
_LARGER, _BLURRED_PX = 1.15, 1.5
#: How much bob and surroundings differ, of 255; along this much of the outline; and by how many
#: times more than the bob's own tones do.
_CONTRAST, _ALL_ROUND, _ONE_TONE = 10.0, 0.9, 3.0
#: The line is seen along this much of the way to the bob.
_LEADS = 0.8


def round_bob(soft: np.ndarray, line: np.ndarray, width_px: float, px_per_mm: float) -> bool:
    """True when a line (2, 2) ends in a disc that is broader than it and hangs free.

    ``soft`` is the (H, W) float32 picture, ``width_px`` how broad the line is.
    """
    along = line[1] - line[0]
    length = float(np.linalg.norm(along))
    along = along / length
    across = np.array([along[1], -along[0]])
    largest = 0.6 * BOB_MM * px_per_mm
    # Where it is looked at within, the line itself has to be left behind.
    radius = max((width_px / 2 + _BLURRED_PX) / _WITHIN[-1], 1.5 * px_per_mm)
    while radius <= largest:
        # An edge ends a little before the bob or on it.
        for beyond in np.arange(-1.0 * radius, 2.0 * radius + 4.1, max(1.0, 0.15 * radius)):
            centre = line[1] + beyond * along
            if (_is_disc(soft, centre, along, across, radius)
                    and _leads_to(soft, line, centre, across, radius, width_px)
                    and _free_below(soft, centre, along, across, radius, width_px)):
                return True
        radius *= _LARGER
    return False


def _at(soft: np.ndarray, places: np.ndarray) -> np.ndarray | None:
    """(...) light at places (..., 2) px; None where one of them is not in the picture."""
    import cv2

    height, width = soft.shape
    if places.min() < 0 or places[..., 0].max() > width - 1 or places[..., 1].max() > height - 1:
        return None
    flat = places.reshape(1, -1, 2).astype(np.float32)
    return np.asarray(cv2.remap(soft, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR)
                      ).reshape(places.shape[:-1]).astype(float)


def _ring(centre: np.ndarray, along: np.ndarray, across: np.ndarray, radius: float) -> np.ndarray:
    """(D, 2) places in all directions but the cord's."""
    return np.asarray(centre + radius * (np.cos(_DIRECTIONS)[:, None] * along
                                         + np.sin(_DIRECTIONS)[:, None] * across))


def _is_disc(soft: np.ndarray, centre: np.ndarray, along: np.ndarray, across: np.ndarray,
             radius: float) -> bool:
    """True when one tone is parted from what is around it, nearly all the way round."""
    inner = _at(soft, np.array([_ring(centre, along, across, share * radius)
                                for share in _WITHIN]))
    outer = _at(soft, _ring(centre, along, across,
                            max(_OUTSIDE * radius, radius + _OUTSIDE_PX)))
    if inner is None or outer is None:
        return False
    parted = np.abs(outer - inner[-1]) > max(_CONTRAST, _ONE_TONE * float(np.std(inner)))
    # A stripe on a pole ends in something all the way round but above.
    return bool(parted[np.abs(_DIRECTIONS) > _ABOVE].all() and parted.mean() >= _ALL_ROUND)


def _leads_to(soft: np.ndarray, line: np.ndarray, centre: np.ndarray, across: np.ndarray,
              radius: float, width_px: float) -> bool:
    """True when the line is seen, narrow, from its own end to the top of the disc."""
    along = centre - line[0]
    length = float(np.linalg.norm(along))
    along = along / length
    stop = length - radius - 1.5
    at = np.arange(stop - max(radius, 6.0), stop, 1.0)
    middle, left, right = (_at(soft, line[0] + at[:, None] * along + k * across)
                           for k in (0.0, -1.5 * width_px - 2.0, 1.5 * width_px + 2.0))
    if middle is None or left is None or right is None:
        return False
    seen = (np.minimum(left, right) - middle, middle - np.maximum(left, right))
    return max(float((s > _CONTRAST / 2).mean()) for s in seen) >= _LEADS


def _free_below(soft: np.ndarray, centre: np.ndarray, along: np.ndarray, across: np.ndarray,
                radius: float, width_px: float) -> bool:
    """True when the line does not go on below: then it passes behind another one's bob."""
    at = np.arange(1.5 * radius + 2.0, 3.0 * radius + 4.0, 1.0)
    below = [_at(soft, centre + at[:, None] * along + k * across)
             for k in (0.0, -1.5 * width_px - 2.0, 1.5 * width_px + 2.0)]
    middle, left, right = below
    if middle is None or left is None or right is None:
        return True
    valley = [np.minimum(left, right) - middle, middle - np.maximum(left, right)]
    return max(float((v > _CONTRAST / 2).mean()) for v in valley) < 0.7

"""What the surface networks are given: standardised views and a few plain numbers.

Used both for teaching and for reading, so that the two can not drift apart.
"""

from __future__ import annotations

from typing import Any

import numpy as np

#: Heights of the window's middle above the level (wall shift taken off) that the
#: offset network tells apart, mm.
BIN_CENTRES_MM = np.round(np.arange(-2.5, 6.51, 0.1), 3)
HARD_ELEVATION_DEG, HARD_WALL_MM = 15.0, 3.0
#: A liquid that lets through less than this share of a colour, seen from no steeper than this,
#: hides its meniscus; there the offset network is cooled so many times more.  Found on 40 drawn
#: scenes with wall angles of 22 to 90 degrees at every elevation (docs/uncertainty.md): most of the
#: scenes that taught it had well wetted walls in steep views only.
HIDDEN_SHARE, HIDDEN_WITHIN_DEG, HIDDEN_COOLING = 0.37, 6.0, 2.0
#: Chance that such a surface is flat to the wall, whatever the network says, and the most that it
#: then rises there, mm.  Of 47 readings of red and brown liquids within 8 degrees of level that a
#: renderer made which taught nothing, three on dry walls were read 1 to 2.5 mm too low, with a
#: standard deviation of 0.2 to 0.3 (docs/uncertainty.md).
FLAT_CHANCE, FLAT_RISE_MM = 0.06, 0.3
ROW_PLANES = 3
OFFSET_PLANES = 5


def row_net_facts(elevation_deg: float, radius_mm: float, step_mm: float) -> np.ndarray:
    """Numbers given to the row network, scaled to about one."""
    return np.array([elevation_deg / 15.0, radius_mm / 15.0 - 1.0, step_mm / 0.3 - 1.0])


def offset_net_facts(elevation_deg: float, radius_mm: float, wall_mm: float,
                height_over_lowest_mm: float, px_per_mm: float) -> np.ndarray:
    """Numbers given to the offset network, scaled to about one."""
    return np.array([elevation_deg / 15.0, radius_mm / 15.0 - 1.0, wall_mm / 2.0 - 0.8,
                     np.clip(height_over_lowest_mm / 50.0, -0.5, 2.5),
                     np.log(max(px_per_mm, 0.5) / 10.0)])


def is_hard(elevation_deg: Any, wall_mm: Any) -> Any:
    """Whether the level is harder to tell than the offset network thinks: a steep view, a thick
    wall.

    Found on views kept from teaching; there the offset network is cooled more.
    """
    return (np.abs(elevation_deg) > HARD_ELEVATION_DEG) | (np.asarray(wall_mm) > HARD_WALL_MM)


def is_hidden(window: np.ndarray, elevation_deg: float) -> bool:
    """Whether the meniscus is as dark as the liquid, so that nothing shows how high it climbs.

    ``window`` (rows, columns, 3) in 0..255 is the close view round the front contact line.  From
    well above or below, the disc of the surface parts from that line and tells; level with it, what
    is seen through the liquid does, unless a colour is swallowed.
    """
    return abs(elevation_deg) <= HIDDEN_WITHIN_DEG and swallows_a_colour(window)


def swallows_a_colour(window: np.ndarray) -> bool:
    """Whether what is below the front contact line in a close view, (rows, columns, 3) in 0..255,
    lets through little of some colour of what is above it; where that is in shadow, of one colour
    beside another, since a shadow dims all alike."""
    row = (window.shape[0] // 2 - np.array([28, 10, -35, -55])).tolist()  # 0.1 mm a row
    level = np.median(window, axis=1)  # print and lights cover less than half the width
    above, below = level[row[0]:row[1]].mean(axis=0), level[row[2]:row[3]].mean(axis=0)
    through = (below + 1.0) / (above + 1.0)
    return bool(through.min() < HIDDEN_SHARE * max(1.0, float(through.max())))


def maybe_flat(probability: np.ndarray) -> np.ndarray:
    """What the offset network says of a hidden meniscus, (bins,), with the chance that there is
    none: the surface then lies at the line."""
    flat = (BIN_CENTRES_MM >= 0.0) & (BIN_CENTRES_MM <= FLAT_RISE_MM)
    return np.asarray((1.0 - FLAT_CHANCE) * probability + FLAT_CHANCE * flat / flat.sum())


def standardised(view: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """(H, W, 3) in 0..255 -> (3, H, W) float32, and the mean colour and spread taken off.

    The same as in teaching: mean colour off, divided by the common spread.
    """
    x = view.astype(np.float32).transpose(2, 0, 1) / 255.0
    mean = x.mean(axis=(1, 2), keepdims=True)
    sd = float(np.sqrt(np.mean((x - mean) ** 2))) + 0.02
    return (x - mean) / sd, mean, sd

"""What a live picture tells the hand before the photo: an outline, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.imaging.quality import DARK_BRIGHT_LEVEL

#: Most pixels along a side of a live picture (our choice: marks of a chamber that fills it
#: are found, and it is looked through several times a second).
LIVE_SIDE_PX = 960

DARK = "Too dark: switch the torch or a lamp on."


@dataclass(frozen=True)
class Aim:
    """One look at a live picture.

    ``outlines`` are polygons, ((x, y), ...) as shares of width and height; ``found`` says
    whether what is to be photographed is there; ``words`` is what to do next, and ``ready``
    whether nothing is left to do.  ``elevation_deg`` and ``too_high_mm`` tell how the camera
    stands to the place that will be read, None where that is not known.
    """

    found: bool
    ready: bool
    words: str
    outlines: tuple[tuple[tuple[float, float], ...], ...] = ()
    elevation_deg: float | None = None
    too_high_mm: float | None = None


def too_dark(rgb: np.ndarray) -> bool:
    """Whether even the bright parts of an (H, W, 3) picture are dark."""
    return bool(np.percentile(rgb[::4, ::4].max(axis=2), 95) < DARK_BRIGHT_LEVEL)


def shares(points_px: np.ndarray, width: int, height: int) -> tuple[tuple[float, float], ...]:
    """Points in pixels as shares of width and height."""
    return tuple((float((x + 0.5) / width), float((y + 0.5) / height)) for x, y in points_px)


def higher_or_lower(too_high_mm: float) -> str:
    """Where to move the phone, by whole centimetres: no more is known from one look."""
    way = "Lower" if too_high_mm > 0 else "Raise"
    return f"{way} the phone by about {max(1, round(abs(too_high_mm) / 10))} cm."

"""What a picture of this set shows, as frozen values; all randomness of its facts lies in
``chance``, that of mere looks in the modules that build them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.scale_file.scale import Scale
from vision.training.fourth.lens import Lens
from vision.training.fourth.phone_facts import Phone

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class Ink:
    """Print on the outer wall (mm).  ``round`` says which marks run right round (none, long,
    all), ``side`` on which side of the marks the numerals stand (-1 left, 0 on them, 1 right),
    ``cover`` how much of the wall worn ink still hides."""

    short_mm: float
    long_mm: float
    stroke_mm: float
    numeral_mm: float
    font: str
    colour: Rgb
    round: str
    side: int
    ragged: str
    cover: float
    label: bool


@dataclass(frozen=True)
class Inside:
    """What else is in the bore: drops (angle rad, height, half width, half height, bulge: mm),
    a film of liquid up to a height, the dried ring of an earlier level with its cover, and
    bubbles (x, y, z, radius: mm, y over the surface's lowest point)."""

    drops: tuple[tuple[float, float, float, float, float], ...] = ()
    film_top_mm: float | None = None
    ring_mm: float | None = None
    ring_cover: float = 0.0
    bubbles: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True)
class Liquid:
    """Index of refraction; light lost and turned aside per mm of path (red, green, blue)."""

    name: str
    index: float
    absorbs: Rgb
    scatters: float


@dataclass(frozen=True)
class Facts:
    """``level_mm`` is the height of the surface's lowest point, on the axis; None: empty.
    ``tilt`` is the liquid plane's rise per mm to the right and towards the viewer; ``turn_deg``
    turns the marks to the right."""

    scale: Scale
    level_mm: float | None
    wall_angle_deg: float
    capillary_mm: float
    tilt: tuple[float, float]
    floor_mm: float
    rim_mm: float
    wall_index: float
    liquid: Liquid
    ink: Ink
    inside: Inside
    lens: Lens
    elevation_deg: float
    turn_deg: float
    roll_deg: float
    distance_mm: float
    f35_mm: float
    aperture_mm: float
    focus_mm: float
    backdrop: str
    board: bool
    light: str
    trouble: tuple[str, ...]
    tier: str
    expect: str
    phone: Phone
    seed: int

    @property
    def upright(self) -> np.ndarray:
        """(3, 3) turn that takes the axis's direction to the vertical's."""
        up = np.array([-self.tilt[0], 1.0, -self.tilt[1]])
        up /= np.linalg.norm(up)
        right = np.cross(up, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        return np.stack([right, up, np.cross(right, up)], axis=1)

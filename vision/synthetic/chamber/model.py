"""What a scene is: one frozen value that fixes every pixel of its picture.

Two frames of reference, both in mm:

* the chamber's frame - z along the chamber's axis with the scale file's datum
  at 0, the middle of the printed marks towards -y, x to the right as one faces
  the marks;
* the room's frame - z up, y away from the person who faces the panel; its
  origin lies on the chamber's axis half way up the tube.

Angles are in degrees, colours are linear red, green, blue.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from vision.scale_file.scale import Scale
from vision.synthetic.chamber.glyphs import Lettering

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class Tube:
    """The tube with its lid above and its collar below, heights in the chamber's frame.

    The tube is seen between ``floor_mm`` and ``lid_mm``; ``index`` is the
    refractive index of its wall.  ``drip_tip_mm`` is how far a drip tip hangs
    down from the lid (0: none).
    """

    floor_mm: float
    lid_mm: float
    index: float = 1.53
    lid_overhang_mm: float = 2.5
    lid_height_mm: float = 12.0
    collar_overhang_mm: float = 2.5
    collar_height_mm: float = 12.0
    stem_radius_mm: float = 2.5
    stem_length_mm: float = 60.0
    drip_tip_mm: float = 0.0
    drip_tip_radius_mm: float = 2.2
    lid_rgb: Rgb = (0.7, 0.7, 0.72)
    collar_rgb: Rgb = (0.7, 0.7, 0.72)
    tip_rgb: Rgb = (0.75, 0.75, 0.75)


@dataclass(frozen=True)
class Print:
    """How the scale is printed on the front of the outer wall; lengths along the wall.

    ``align`` places the short marks within the width of the long ones;
    ``offset_mm`` shifts all print to the right.  ``opacity`` is the share of
    light that full ink stops.
    """

    short_mm: float = 7.0
    long_mm: float = 12.0
    stroke_mm: float = 0.4
    long_stroke_mm: float = 0.4
    align: str = "centre"
    offset_mm: float = 0.0
    numerals: str = "left"
    numeral_height_mm: float = 3.4
    numeral_gap_mm: float = 1.2
    lettering: Lettering = field(default_factory=Lettering)
    spine: bool = False
    unit_text: bool = False
    ink_rgb: Rgb = (0.03, 0.03, 0.03)
    opacity: float = 0.95


@dataclass(frozen=True)
class Sticker:
    """An opaque label on the outer wall: a span of arc and of height (mm)."""

    left_mm: float
    right_mm: float
    low_mm: float
    high_mm: float
    rgb: Rgb = (0.8, 0.8, 0.78)


@dataclass(frozen=True)
class Fluid:
    """The liquid: absorption and scattering per mm, and the colour it scatters.

    Below ``sediment_mm`` (height in the chamber's frame) both are multiplied by
    ``sediment_factor``.
    """

    name: str = "clear"
    absorption_per_mm: Rgb = (0.0, 0.0, 0.0)
    scatter_per_mm: float = 0.0
    scatter_rgb: Rgb = (0.7, 0.7, 0.7)
    index: float = 1.333
    sediment_mm: float = -1e3
    sediment_factor: float = 1.0


@dataclass(frozen=True)
class Drop:
    """A drop on the inner wall: place by angle from the front and height, size, bulge (mm)."""

    angle_deg: float
    height_mm: float
    radius_mm: float
    bulge_mm: float


@dataclass(frozen=True)
class Camera:
    """A pinhole camera, placed from the axis point at the true level.

    ``elevation_deg`` is counted against the plane square to the chamber's axis,
    positive when the camera looks down; ``azimuth_deg`` is positive when
    the marks are turned towards the right of the picture.  ``aim_x``, ``aim_y`` say where in the
    picture (share of its width and height) the middle of the tube is to lie.
    """

    distance_mm: float = 300.0
    elevation_deg: float = 0.0
    azimuth_deg: float = 0.0
    roll_deg: float = 0.0
    f35: float = 26.0
    width: int = 1800
    height: int = 2400
    aim_x: float = 0.5
    aim_y: float = 0.5


@dataclass(frozen=True)
class AreaLight:
    """A far bright rectangle of the room: direction, half extents, radiance.

    ``azimuth_deg`` 0 is behind the camera (towards -y of the room), positive to
    the right; ``elevation_deg`` 90 is straight up.  ``bars`` splits it like a
    window with that many panes.  A negative radiance takes light away: a dark
    door or person that is mirrored in the wall.
    """

    azimuth_deg: float
    elevation_deg: float
    half_width_deg: float
    half_height_deg: float
    radiance: Rgb
    edge_deg: float = 1.0
    bars: int = 1


@dataclass(frozen=True)
class Box:
    """A block standing in the room: lower and upper corner (room's frame, mm)."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]
    rgb: Rgb


@dataclass(frozen=True)
class Capsule:
    """A rod with round ends (a finger, a pole, a tube): two end points in the room's frame."""

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    radius_mm: float
    rgb: Rgb
    gloss: float = 0.03


@dataclass(frozen=True)
class Panel:
    """The flat panel behind the chamber: a rectangle square to y, with its pattern.

    ``pattern`` is one of plain, rules (a printed column of rules), stripes,
    speckle, blocks, tiles, collage (a picture drawn from ``pattern_seed``, ``pattern_mm`` a cell,
    in colours of its own: ``collage``).
    """

    left_mm: float = -80.0
    right_mm: float = 80.0
    low_mm: float = -150.0
    high_mm: float = 150.0
    y_mm: float = 30.0
    tilt_deg: float = 0.0
    rgb: Rgb = (0.6, 0.6, 0.6)
    pattern: str = "plain"
    pattern_rgb: Rgb = (0.1, 0.1, 0.2)
    pattern_mm: float = 10.0
    pattern_x_mm: float = 40.0
    pattern_seed: int = 0


@dataclass(frozen=True)
class Room:
    """Everything around the chamber, in the room's frame.

    The far room's light falls from ``ambient`` overhead to ``floor_ambient``
    times that underfoot, over a band that ``horizon`` makes narrow (0.5: gently
    over the whole sphere).  ``shadow`` is how dark the chamber's shadow is.
    """

    panel: Panel | None = field(default_factory=Panel)
    wall_y_mm: float = 250.0
    wall_rgb: Rgb = (0.6, 0.58, 0.55)
    wall_pattern: str = "plain"
    wall_pattern_rgb: Rgb = (0.45, 0.42, 0.4)
    wall_pattern_mm: float = 60.0
    wall_pattern_seed: int = 0
    rods: tuple[Capsule, ...] = ()
    boxes: tuple[Box, ...] = ()
    lights: tuple[AreaLight, ...] = ()
    ambient: Rgb = (0.5, 0.5, 0.5)
    floor_ambient: float = 0.5
    horizon: float = 0.5
    shadow: float = 0.5
    light_name: str = "ceiling"


@dataclass(frozen=True)
class Capture:
    """What lens, sensor and file do to the light.

    ``exposure`` is the linear value at which a white card facing the camera
    lands; ``read_noise`` and ``shot_noise`` are standard deviations in linear
    units at 0 and 1.  ``halo`` is the strength of the phone's edge sharpening.
    """

    blur_px: float = 0.8
    motion_px: float = 0.0
    motion_deg: float = 0.0
    exposure: float = 0.75
    read_noise: float = 0.002
    shot_noise: float = 0.01
    noise_grain_px: float = 0.0
    white_balance: Rgb = (1.0, 1.0, 1.0)
    contrast: float = 0.0
    vignette: float = 0.1
    veil: float = 0.0
    halo: float = 0.0
    jpeg_quality: int = 90
    low_light: bool = False


@dataclass(frozen=True)
class ChamberScene:
    """A photo of a drain chamber to be, with its truth.

    ``true_value`` is the level in the scale's unit: the plane, square to
    gravity, through the lowest point of the surface where it crosses the axis.
    ``lean_deg`` tips the chamber to the right of the marks and away from them.
    ``room_turn_deg`` turns the room about the vertical against the marks.
    ``neighbour`` is a second chamber that hangs ``neighbour_mm`` (right, away) from
    the first, with the same lean; the two do not mirror each other.
    """

    scale: Scale
    true_value: float
    tube: Tube
    fluid: Fluid = field(default_factory=Fluid)
    contact_angle_deg: float = 70.0
    lean_deg: tuple[float, float] = (0.0, 0.0)
    room_turn_deg: float = 0.0
    print: Print = field(default_factory=Print)
    camera: Camera = field(default_factory=Camera)
    room: Room = field(default_factory=Room)
    capture: Capture = field(default_factory=Capture)
    drops: tuple[Drop, ...] = ()
    stickers: tuple[Sticker, ...] = ()
    neighbour: ChamberScene | None = None
    neighbour_mm: tuple[float, float] = (0.0, 0.0)
    tier: str = "typical"
    expect: str = "read"
    notes: str = ""
    seed: int = 0

    @property
    def level_mm(self) -> float:
        """Height of the true level on the axis, chamber's frame."""
        return float(self.scale.height_mm(self.true_value))

    @property
    def middle_mm(self) -> float:
        """Height of the middle of the tube, the origin of the room's frame."""
        return (self.tube.floor_mm + self.tube.lid_mm) / 2

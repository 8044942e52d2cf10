"""What a picture of this set shows: one frozen value, drawn from a seed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vision.scale_file.scale import Scale, load_scale, shipped_scales
from vision.training.third.scales import invented_scale
from vision.training.third.view import Camera, camera_at, focal_px

Rgb = tuple[float, float, float]
TIERS = ("easy", "typical", "hard")
LIQUIDS = ("clear", "straw", "pink", "red", "brown", "cloudy")
BEHIND = ("curtain", "pictures", "shelf", "window", "door", "cloth")
LIGHTS = ("ceiling", "window", "lamp", "flash")
#: Fonts by file name; where a machine lacks one, Pillow's own takes its place.
FONTS = ("LiberationSans-Regular", "LiberationSansNarrow-Bold", "LiberationSerif-Bold",
         "OpenSans-Semibold", "Lato-Bold", "DejaVuSans", "DejaVuSansMono-Bold", "")
INKS: tuple[Rgb, ...] = ((.015, .015, .02), (.02, .03, .12), (.25, .02, .02), (.01, .09, .05))
#: Farthest surface from the middle of the picture, as a share of its height.
_FARTHEST = 0.36


@dataclass(frozen=True)
class Print:
    """Marks and numerals on the outer wall (mm).  ``round`` says which marks run all round:
    none, long or all; ``side`` is where the numerals stand, -1 left, 1 right, 0 in the middle."""

    short_mm: float
    long_mm: float
    stroke_mm: float
    numeral_mm: float
    font: str
    ink: Rgb
    round: str
    side: int
    align: int
    sticker: bool


@dataclass(frozen=True)
class Wetness:
    """On the inner wall over the liquid: drops as (angle rad, height, radius, bulge in mm), the
    top of a film left by the liquid, and the height of an earlier level's stain (None: none)."""

    drops: tuple[tuple[float, float, float, float], ...]
    film_top_mm: float | None
    stain_mm: float | None
    stain: float


@dataclass(frozen=True)
class Capture:
    """What the phone adds: blurs in pixels, noise and veil as shares of white, and so on."""

    soft_px: float
    shake_px: float
    shake_deg: float
    noise: float
    veil: float
    exposure: float
    cast: Rgb
    denoise: float
    sharpen: float
    contrast: float
    vividness: float
    jpeg: int
    orientation: int


@dataclass(frozen=True)
class ThirdScene:
    """All facts of a picture, in the chamber's frame (see ``Camera``); ``level_mm`` is the lowest
    point of the surface on the axis, None for an empty chamber; ``turn_deg`` turns the marks to
    the right; ``slope`` is the liquid's plane against the axis, to the right and away."""

    scale: Scale
    level_mm: float | None
    contact_deg: float
    capillary_mm: float
    slope: tuple[float, float]
    floor_mm: float
    lid_mm: float
    print: Print
    wet: Wetness
    liquid: str
    strength: float
    wall_index: float
    liquid_index: float
    camera: Camera
    elevation_deg: float
    turn_deg: float
    roll_deg: float
    distance_mm: float
    f35_mm: float
    aperture_mm: float
    light: str
    ambient: float
    behind: str
    panel: bool
    caustics: bool
    trouble: tuple[str, ...]
    tier: str
    expect: str
    capture: Capture
    seed: int

    @property
    def up(self) -> np.ndarray:
        """Against gravity: square to the liquid's plane."""
        v = np.array([-self.slope[0], -self.slope[1], 1.0])
        return np.asarray(v / np.linalg.norm(v))


def bore_at(scale: Scale, height_mm: Any) -> Any:
    """Bore radius (mm) at heights along the axis."""
    knots = sorted((float(scale.height_mm(v)), d / 2) for v, d in scale.diameter_knots)
    h, r = np.array(knots).T
    return np.interp(height_mm, h, r)


def outside_at(scale: Scale, height_mm: Any) -> Any:
    """Outer radius (mm) at heights along the axis."""
    if scale.outline is None:
        return np.full_like(np.asarray(height_mm, float), scale.outer_radius_mm)
    return scale.outline.at(height_mm)


def draw(seed: int, index: int, size: tuple[int, int]
         ) -> tuple[ThirdScene, dict[str, Any] | None]:
    """Picture number ``index``, and its scale's file where that is no shipped one."""
    rng = np.random.default_rng([seed, index, 3033])
    u = rng.uniform
    if rng.random() < 0.35:
        names = [n for n, p in shipped_scales().items() if not load_scale(p).flat]
        scale, content = load_scale(str(rng.choice(sorted(names)))), None
    else:
        scale, content = invented_scale(rng, f"third-{index}")
    low, high = scale.lowest_mark.height_mm, scale.highest_mark.height_mm
    tier = str(rng.choice(TIERS, p=(0.28, 0.42, 0.30)))
    kind = rng.random()
    expect = "refuse" if kind < 0.04 else "off-scale" if kind < 0.07 else "read"
    level = _level(rng, scale, expect)
    trouble = _troubles(rng) if tier == "hard" else ()
    steep = {"easy": 5.0, "typical": 14.0, "hard": 12.0}[tier]
    elevation = float(u(-steep, steep))
    if "steep" in trouble:
        elevation = float(rng.choice([-1, 1]) * u(12, 30))
    turn = float(rng.normal() * 8 if tier != "hard" else u(-30, 30))
    turn = float(np.clip(turn, -25, 25)) if tier != "hard" else turn
    roll = float(u(-6, 6) if tier != "hard" else u(-10, 10))
    contact = float(u(*{"easy": (60, 90), "typical": (45, 90), "hard": (20, 85)}[tier]))
    f35, distance, aim = _framing(rng, scale, level, size, elevation, tier, "small" in trouble)
    seen = np.array([0.0, 0.0, level])
    camera = camera_at(seen, distance, elevation, aim, roll, f35, size)
    lid = high + float(u(5, 14)) + (max(0.0, level - high) if expect == "off-scale" else 0.0)
    slope = tuple(math.tan(math.radians(a)) for a in np.clip(rng.normal(0, 0.5, 2), -1.2, 1.2))
    light = str(rng.choice(LIGHTS, p=(.36, .3, .2, .14)))
    if "glare" in trouble:
        light = str(rng.choice(["lamp", "flash"]))
    liquid = str(rng.choice(LIQUIDS, p=(.24, .22, .18, .13, .12, .11)))
    scene = ThirdScene(
        scale=scale, level_mm=None if expect == "refuse" else level, contact_deg=contact,
        capillary_mm=float(u(2.2, 2.75)), slope=slope,  # type: ignore[arg-type]
        floor_mm=min(low, level, 0.0) - float(u(3, 9)), lid_mm=lid, print=_print(rng),
        wet=_wet(rng, level, lid, expect == "refuse"), liquid=liquid, strength=float(u(0.5, 1.6)),
        wall_index=float(u(1.45, 1.6)), liquid_index=float(u(1.33, 1.345)), camera=camera,
        elevation_deg=elevation, turn_deg=turn, roll_deg=roll, distance_mm=distance, f35_mm=f35,
        aperture_mm=float(u(0.5, 1.6)), light=light, ambient=float(u(0.25, 0.9)),
        behind=str(rng.choice(BEHIND)), panel=bool(rng.random() < 0.5),
        caustics=bool(rng.random() < 0.4 and light in ("ceiling", "window")
                      and liquid != "cloudy"),
        trouble=trouble, tier=tier, expect=expect, capture=_capture(rng, trouble, size),
        seed=int(rng.integers(2**31)))
    return scene, content


def _level(rng: np.random.Generator, scale: Scale, expect: str) -> float:
    """A height among the marks, clear of steps; over the highest mark if off the scale."""
    first, last = scale.lowest_mark, scale.highest_mark
    if expect == "off-scale":
        return last.height_mm + float(rng.uniform(2, 6))
    while True:
        z = float(rng.uniform(first.height_mm + 2.5, last.height_mm - 3.5))
        near = bore_at(scale, np.array([z - 3.5, z, z + 5.5]))
        if np.ptp(near) < 0.14 * 9 and _marked(scale, z):
            return z


def _marked(scale: Scale, z: float) -> bool:
    """Whether marks stand close above and below: not in the gap at a step."""
    heights = np.array([m.height_mm for m in scale.marks])
    return bool(np.abs(heights - z).min() < 2 and (heights < z).any() and (heights > z).any())


def _troubles(rng: np.random.Generator) -> tuple[str, ...]:
    all_of = ["steep", "dim", "glare", "blur", "small"]
    first = str(rng.choice(all_of, p=(.5, .15, .1, .1, .15)))
    second = str(rng.choice(all_of))
    return tuple(dict.fromkeys([first, second] if rng.random() < 0.35 else [first]))


def _framing(rng: np.random.Generator, scale: Scale, level: float, size: tuple[int, int],
             elevation: float, tier: str, small: bool) -> tuple[float, float, np.ndarray]:
    """Focal length, distance and the point in the middle of the picture: drawn again until the
    chamber fills the picture as people hold a phone and the surface stands well inside."""
    low, high = scale.lowest_mark.height_mm, scale.highest_mark.height_mm
    value = float(scale.value_at(level))
    division = abs(float(scale.height_mm(value + scale.division_at(value))) - level)
    best: tuple[float, tuple[float, float, np.ndarray]] | None = None
    for _ in range(400):
        f35 = float(math.exp(rng.uniform(math.log(24), math.log(70))))
        distance = float(rng.uniform(250, 700))
        px_per_mm = focal_px(f35, size) / distance
        share = (high - low) * px_per_mm * math.cos(math.radians(elevation)) / size[1]
        per_division = division * px_per_mm
        aim = np.array([float(rng.uniform(-9, 9)), 0.0,
                        (low + high) / 2 + float(rng.uniform(-0.14, 0.14)) * (high - low)])
        off = abs(level - aim[2]) * px_per_mm / size[1]
        wanted = (0.3, 1.15) if tier == "hard" else (0.38, 0.95)
        enough = per_division < 8.0 if small else per_division >= 8.0
        misses = (max(wanted[0] - share, share - wanted[1], 0) + max(off - _FARTHEST, 0)
                  + (0 if enough else abs(math.log(per_division / 8.0)))
                  + max(4.5 - per_division, 0))
        if best is None or misses < best[0]:
            best = (misses, (f35, distance, aim))
        if misses == 0:
            break
    assert best is not None
    return best[1]


def _print(rng: np.random.Generator) -> Print:
    u = rng.uniform
    return Print(short_mm=float(u(3.5, 7)), long_mm=float(u(8, 13)), stroke_mm=float(u(.3, .55)),
                 numeral_mm=float(u(2.5, 3.9)), font=str(rng.choice(FONTS)),
                 ink=INKS[int(rng.choice(len(INKS), p=(.6, .2, .1, .1)))],
                 round=str(rng.choice(["none", "long", "all"], p=(.72, .2, .08))),
                 side=int(rng.choice([-1, 1])), align=int(rng.choice([-1, 0, 1])),
                 sticker=bool(rng.random() < 0.12))


def _wet(rng: np.random.Generator, level: float, lid: float, empty: bool) -> Wetness:
    u = rng.uniform
    count = int(rng.integers(4, 40)) if rng.random() < 0.4 else 0
    drops = tuple((float(u(-math.pi, math.pi)), float(u(level + 4.5, max(lid - 2, level + 5))),
                   float(u(0.4, 1.7)), float(u(0.12, 0.6))) for _ in range(count))
    film = level + float(u(5, 22)) if rng.random() < 0.3 and not empty else None
    stained = rng.random() < 0.2
    return Wetness(drops, film, level + float(u(6, 25)) if stained else None, float(u(.08, .45)))


def _capture(rng: np.random.Generator, trouble: tuple[str, ...], size: tuple[int, int]) -> Capture:
    u = rng.uniform
    pixel = size[1] / 1200
    shaken = "blur" in trouble and rng.random() < 0.5
    dim = "dim" in trouble
    return Capture(
        soft_px=float(u(1.3, 2.2) if "blur" in trouble and not shaken else u(0.4, 0.9)) * pixel,
        shake_px=float(u(3, 6)) * pixel if shaken else 0.0, shake_deg=float(u(0, 180)),
        noise=float(u(0.02, 0.045) if dim else u(0.002, 0.012)),
        veil=float(u(0.08, 0.2)) if "glare" in trouble else float(u(0, 0.02)),
        exposure=float(u(0.18, 0.4) if dim else u(0.45, 0.8)),
        cast=(float(u(.92, 1.1)), 1.0, float(u(.88, 1.1))),
        denoise=float(rng.choice([0, 3, 5])) + (3.0 if dim else 0.0),
        sharpen=float(u(0, 1.1)), contrast=float(u(0, 0.6)), vividness=float(u(0.9, 1.25)),
        jpeg=int(rng.integers(60, 96)), orientation=int(rng.choice([1, 3, 6, 8])))

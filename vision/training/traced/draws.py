"""What a traced picture shows: one frozen value, drawn from a seed."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from vision.scale_file.scale import Scale, load_scale, shipped_scales
from vision.training.traced.printed import Ink
from vision.training.traced.scales import own_scale
from vision.training.traced.view import Pose, look

Rgb = tuple[float, float, float]
TIERS = ("easy", "typical", "hard")
_TIER_SHARES = (0.28, 0.40, 0.32)
#: Steepest view, turn and roll (deg), defocus (px at 1200 rows) and grain (share of white).
_LIMITS = {"easy": (5, 15, 3, 0.7, 0.008), "typical": (14, 25, 6, 1.1, 0.014),
           "hard": (30, 30, 10, 1.6, 0.035)}
#: Absorption per mm of red, green, blue; scattering per mm; colour of what is scattered.
LIQUIDS: dict[str, tuple[Rgb, float, Rgb]] = {
    "clear": ((0.0, 0.0, 0.0), 0.0, (1, 1, 1)),
    "straw": ((0.002, 0.006, 0.03), 0.0, (1, 1, 1)),
    "pink": ((0.004, 0.035, 0.02), 0.0, (1, 1, 1)),
    "red": ((0.02, 0.25, 0.22), 0.0, (1, 1, 1)),
    "brown": ((0.03, 0.07, 0.15), 0.0, (1, 1, 1)),
    "cloudy": ((0.001, 0.002, 0.005), 0.03, (0.95, 0.93, 0.88)),
    "turbid": ((0.01, 0.06, 0.07), 0.10, (0.9, 0.6, 0.5)),
}
#: Share of the mixed liquids that scatter and hardly take light: milky white.
_MILKY = 0.4
BACKGROUNDS = ("plain", "rules", "stripes", "words", "tiles", "curtain", "shelf", "bars")


@dataclass(frozen=True)
class Bump:
    """A drop on the inner wall: azimuth (rad), height, radius, bulge (mm)."""

    azimuth: float
    height_mm: float
    radius_mm: float
    bulge_mm: float


@dataclass(frozen=True)
class Bubble:
    """A bubble that floats on the liquid: azimuth (rad), distance from the axis, radius (mm)."""

    azimuth: float
    aside_mm: float
    radius_mm: float


@dataclass(frozen=True)
class TracedScene:
    """All facts of a picture.  ``lean`` is the slope of the liquid plane against the tube to the
    right of the marks and away from them; ``level_mm`` None for an empty chamber; ``ring_mm`` the
    height of an earlier level's trace (None: none), ``film_mm`` the top of a wetting film,
    ``fog`` how rough condensation makes the dry inner wall; ``mixed`` takes the place of the named
    liquid, with absorption and scattering per mm and the colour of what is scattered, and
    ``forward`` is the mean cosine of the angle of that; ``behind`` makes what hangs behind the
    chamber darker."""

    scale: Scale
    level_mm: float | None
    contact_deg: float
    capillary_mm: float
    lean: tuple[float, float]
    floor_mm: float
    lid_mm: float
    ink: Ink
    liquid: str
    strength: float
    wall_index: float
    liquid_index: float
    drops: tuple[Bump, ...]
    ring_mm: float | None
    film_mm: float | None
    sticker: bool
    pose: Pose
    elevation_deg: float
    azimuth_deg: float
    roll_deg: float
    distance_mm: float
    f35: float
    light: str
    background: str
    tier: str
    expect: str
    seed: int
    capture: dict[str, Any] = field(default_factory=dict)
    foam: tuple[Bubble, ...] = ()
    fog: float = 0.0
    mixed: tuple[Rgb, float, Rgb] | None = None
    forward: float = 0.0
    behind: float = 1.0

    @property
    def up(self) -> np.ndarray:
        """Against gravity, in the chamber's frame."""
        v = np.array([self.lean[0], self.lean[1], 1.0])
        return np.asarray(v / np.linalg.norm(v))


def draw(seed: int, index: int, size: tuple[int, int] = (900, 1200), strange: float = 0.0
         ) -> tuple[TracedScene, dict[str, Any] | None]:
    """Picture number ``index`` of a set, and its scale's file where that is no shipped one;
    ``strange`` is the share of chambers with what ``made_strange`` adds."""
    scene, content = _draw(seed, index, size)
    rng = np.random.default_rng([seed, index, 78])
    return (made_strange(scene, rng) if rng.random() < strange else scene), content


def made_strange(scene: TracedScene, rng: np.random.Generator) -> TracedScene:
    """The scene with some of: marks right round the tube, foam, condensation on the dry wall, a
    liquid of any colour and cloudiness."""

    def between(a: float, b: float) -> float:
        return float(rng.uniform(a, b))

    rings, foam, fog, mixed = rng.random(4) < (0.35, 0.25, 0.15, 0.6)
    if rings:
        scene = replace(scene, ink=replace(scene.ink, round=str(rng.choice(["long", "all"]))))
    if foam and scene.level_mm is not None:
        bore = scene.scale.inner_radius_mm(float(scene.scale.value_at(scene.level_mm)))
        spread = between(0.3, math.pi)  # foam gathers at one side, or all round the wall
        middle = between(-math.pi, math.pi)
        bubbles = []
        for _ in range(int(rng.integers(6, 70))):
            radius = float(np.exp(between(math.log(0.2), math.log(1.1))))
            gap = abs(float(rng.normal(0, 1.2)))  # bubbles climb the meniscus to the wall
            bubbles.append(Bubble(middle + between(-spread, spread),
                                  max(bore - radius - 0.05 - gap, 0.0), radius))
        scene = replace(scene, foam=tuple(bubbles))
    if fog:
        scene = replace(scene, fog=between(0.04, 0.25))
    if mixed:
        absorb = np.exp(between(math.log(0.002), math.log(0.2))) * np.sort(
            rng.dirichlet([0.6, 0.6, 0.6]))[[0, 1, 2] if rng.random() < 0.7 else rng.permutation(3)]
        scatter = math.exp(between(math.log(0.01), math.log(0.25))) if rng.random() < 0.7 else 0.0
        colour = 1 - rng.uniform(0, 0.5) * np.sort(rng.random(3))
        if rng.random() < _MILKY:
            absorb, colour = absorb * 0.05, 1 - 0.2 * (1 - colour)
            scatter = math.exp(between(math.log(0.01), math.log(0.2)))
        scene = replace(scene, liquid="mixed", strength=1.0, forward=between(0.0, 0.9), mixed=(
            tuple(map(float, absorb)), scatter, tuple(map(float, colour))))  # type: ignore[arg-type]
    return scene


def made_dark(scene: TracedScene, rng: np.random.Generator) -> TracedScene:
    """The scene with a liquid of any hue that swallows one colour at least and scatters nothing:
    from near level its meniscus is as dark as itself."""
    strongest = math.exp(rng.uniform(math.log(0.06), math.log(0.5)))
    share = np.append(1.0, rng.uniform(0.02, 1.0, 2) ** 2)
    absorb = strongest * share[rng.permutation(3)]
    return replace(scene, liquid="mixed", strength=1.0, forward=0.0, mixed=(
        tuple(map(float, absorb)), 0.0, (1.0, 1.0, 1.0)))  # type: ignore[arg-type]


def made_bright(scene: TracedScene, rng: np.random.Generator) -> TracedScene:
    """The scene with something dark behind it and mostly a liquid that scatters and hardly takes
    light: it is brighter than the empty tube over it."""
    scene = replace(scene, behind=float(rng.uniform(0.03, 0.5)))
    if rng.random() < 0.25:
        return scene
    colour = 1 - rng.uniform(0, 0.35) * np.sort(rng.random(3))
    absorb = rng.uniform(0, 0.006) * np.sort(rng.dirichlet([0.6, 0.6, 0.6]))
    scatter = math.exp(rng.uniform(math.log(0.008), math.log(0.25)))
    return replace(scene, liquid="mixed", strength=1.0, forward=float(rng.uniform(0.0, 0.9)),
                   mixed=(tuple(map(float, absorb)), scatter,  # type: ignore[arg-type]
                          tuple(map(float, colour))))


def _draw(seed: int, index: int, size: tuple[int, int]
          ) -> tuple[TracedScene, dict[str, Any] | None]:
    rng = np.random.default_rng([seed, index, 77])

    def between(a: float, b: float) -> float:
        return float(rng.uniform(a, b))

    tier = str(rng.choice(TIERS, p=_TIER_SHARES))
    content = None
    if rng.random() < 0.5:
        shipped = [s for s in map(load_scale, shipped_scales()) if not s.flat]
        scale = shipped[int(rng.integers(len(shipped)))]
    else:
        scale, content = own_scale(rng)
    low, high = (m.height_mm for m in (scale.lowest_mark, scale.highest_mark))
    expect = "read" if rng.random() < 0.92 else str(rng.choice(["off-scale", "refuse"]))
    contact = between(*{"easy": (30, 90), "typical": (25, 90), "hard": (20, 85)}[tier])
    lid = high + between(9, 24)
    level: float | None = None
    while level is None:
        level = between(low + 0.3, high - 0.3) if expect != "off-scale" else high + between(1.5, 4)
        same = even_about(scale, level)
        near = min(abs(m.height_mm - level) for m in scale.marks) < 3.0
        level = level if same and (near or expect == "off-scale") else None
    angles = _angles(rng, tier)
    lean = (0.0, 0.0) if rng.random() < 0.3 else (between(-0.03, 0.03), between(-0.03, 0.03))
    seen = _aimed(rng, tier, size, scale, level, lean, angles)
    ink = Ink(short_mm=between(4, 8), long_mm=between(8, 13), stroke_mm=between(0.3, 0.5),
              align=float(rng.choice([-1, 0, 1])), side=int(rng.choice([-1, 1])),
              numeral_mm=between(2.6, 3.8), font=str(rng.choice(
                  ["", "DejaVuSans", "DejaVuSansCondensed", "DejaVuSans-Bold"])),
              rgb=((.02, .02, .03), (.02, .03, .2), (.3, .02, .02), (.85, .85, .85))[
                  int(rng.choice(4, p=(.6, .15, .1, .15)))],
              jitter_mm=0.03, spine=bool(rng.random() < 0.2))
    liquid = str(rng.choice(list(LIQUIDS), p=(.2, .2, .15, .12, .13, .1, .1)))
    wet = rng.random() < 0.45
    drops = tuple(Bump(between(-math.pi, math.pi), between(level + 4, lid), between(0.5, 1.8),
                       between(0.15, 0.6)) for _ in range(int(rng.integers(3, 25)) if wet else 0))
    traced = rng.random()
    capture = _capture(rng, tier, size)
    return TracedScene(
        scale, None if expect == "refuse" else level, contact, between(2.55, 2.75), lean,
        min(low, 0.0) - between(1, 10), lid, ink, liquid, between(0.5, 1.6), between(1.49, 1.59),
        between(1.333, 1.343), drops,
        level + between(5, 20) if wet and traced < 0.4 else None,
        level + between(4, 15) if wet and traced > 0.6 else None,
        bool(rng.random() < 0.15),
        light=str(rng.choice(["ceiling", "window", "lamp", "flash", "back"],
                             p=(.3, .25, .2, .12, .13))),
        background=str(rng.choice(BACKGROUNDS)), tier=tier, expect=expect,
        seed=int(rng.integers(2**31)), capture=capture, **seen), content


def even_about(scale: Scale, level_mm: float) -> bool:
    """Whether the bore is even from a little below a level to above its meniscus."""
    v = scale.value_at(np.array([level_mm - 1.5, level_mm + 5.0]))
    return bool(abs(scale.inner_radius_mm(v[0]) - scale.inner_radius_mm(v[1])) < 0.05)


def _angles(rng: np.random.Generator, tier: str) -> tuple[float, float, float]:
    """Elevation, turn and roll of a camera, degrees."""
    steep, turn, roll, _, _ = _LIMITS[tier]
    e = rng.uniform(12 if tier == "hard" else 0, steep) * (1 if rng.random() < 0.55 else -1)
    return float(e), float(rng.uniform(-turn, turn)), float(rng.uniform(-roll, roll))


def _aimed(rng: np.random.Generator, tier: str, size: tuple[int, int], scale: Scale,
           level_mm: float, lean: tuple[float, float], angles: tuple[float, float, float]
           ) -> dict[str, Any]:
    """Where the camera stands, as fields of a scene: the scale fills a good part of the photo."""
    e, azimuth, rolled = angles
    low, high = (m.height_mm for m in (scale.lowest_mark, scale.highest_mark))
    f35 = float(rng.choice([24, 26, 28, 35, 48, 52, 70], p=(.14, .28, .12, .06, .14, .18, .08)))
    share = float(rng.uniform(0.4, 0.75) if tier != "hard" else rng.uniform(0.32, 0.7))
    steps = (high - low) / min(np.diff([m.height_mm for m in scale.marks]))
    share = float(np.clip(share, (7.0 if tier == "hard" else 9.0) * steps / size[1], 0.8))
    distance = max(f35 * math.hypot(*size) / 43.27 * (high - low) * math.cos(math.radians(e))
                   / (share * size[1]), 120.0)
    up = np.array([lean[0], lean[1], 1.0])
    up /= np.linalg.norm(up)
    k1 = float(rng.uniform(-0.02, 0.02)) if rng.random() < 0.5 else 0.0
    aside = float(rng.uniform(-0.12, 0.12)), float(rng.uniform(-0.06, 0.06))
    pose = look(level_mm, 0.5 * (low + high), up, distance, e, azimuth, rolled, f35, size, aside,
                k1)
    return {"pose": pose, "elevation_deg": e, "azimuth_deg": azimuth, "roll_deg": rolled,
            "distance_mm": distance, "f35": f35}


def _capture(rng: np.random.Generator, tier: str, size: tuple[int, int]) -> dict[str, Any]:
    """What lens, sensor and the phone's processing do to a picture."""
    _, _, _, blur, grain = _LIMITS[tier]

    def between(a: float, b: float) -> float:
        return float(rng.uniform(a, b))

    return {"blur_px": blur * between(0.5, 1) * size[1] / 1200,
            "grain": grain * between(.3, 1),
            "sharpen": between(0, 1.2) if rng.random() < 0.6 else 0.0,
            "smooth": bool(rng.random() < 0.4),
            "veil": between(0, 0.15) if tier == "hard" else 0,
            "exposure": between(0.55, 0.9) * (between(0.3, 1) if tier == "hard" else 1),
            "cast": (between(.9, 1.1), 1.0, between(.88, 1.12)),
            "jpeg": int(rng.integers(62, 96)), "orientation": int(rng.choice([1, 3, 6, 8]))}


def seen_from(scene: TracedScene, rng: np.random.Generator, size: tuple[int, int]) -> TracedScene:
    """The same chamber in the same room, by another camera from another place."""
    tier = str(rng.choice(TIERS, p=_TIER_SHARES))
    marks = (scene.scale.lowest_mark.height_mm, scene.scale.highest_mark.height_mm)
    at = scene.level_mm if scene.level_mm is not None else float(rng.uniform(*marks))
    return replace(scene, tier=tier, capture=_capture(rng, tier, size), **_aimed(
        rng, tier, size, scene.scale, at, scene.lean, _angles(rng, tier)))

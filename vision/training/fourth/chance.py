"""Draws the facts of a picture from a seed."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.scale_file.scale import Scale, load_scale, shipped_scales
from vision.training.fourth.facts import Facts, Ink, Inside, Liquid
from vision.training.fourth.framing import framed
from vision.training.fourth.phone_facts import draw_phone
from vision.training.fourth.scales import bore_at, outside_at, own_scale

BACKDROPS = ("brick", "tile", "bookcase", "blinds", "corridor", "plants", "wallpaper", "bedrail")
LIGHTS = ("window", "strips", "desk", "flash", "two colours")
#: Lost per mm of path at strength one, and turned aside; our own inventions.
_LIQUIDS: dict[str, tuple[tuple[float, float, float], float]] = {
    "clear": ((0.0, 0.0, 0.0), 0.0), "straw": ((0.0006, 0.004, 0.026), 0.0),
    "pink": ((0.004, 0.038, 0.024), 0.0), "red": ((0.02, 0.26, 0.21), 0.0),
    "brown": ((0.026, 0.065, 0.17), 0.0), "cloudy": ((0.0012, 0.0022, 0.005), 0.03),
    "milky": ((0.0003, 0.0006, 0.0018), 0.1)}
_LIQUID_SHARES = (0.24, 0.22, 0.15, 0.12, 0.1, 0.09, 0.08)
_COLOURS = ((0.012, 0.012, 0.014), (0.01, 0.025, 0.16), (0.02, 0.08, 0.035), (0.2, 0.012, 0.015),
            (0.06, 0.05, 0.05))
#: Where a font is missing Pillow's own takes its place.
FONTS = ("", "Lato-Medium", "OpenSans-CondBold", "DejaVuSansCondensed", "LiberationMono-Bold",
         "DejaVuSerif-Bold")


def drawn(seed: int, index: int, size: tuple[int, int]) -> tuple[Facts, dict[str, Any] | None]:
    """Picture number ``index``; with its scale's file where that is none of the shipped ones."""
    rng = np.random.default_rng([404, seed, index])
    u = rng.uniform
    tier = str(rng.choice(["easy", "typical", "hard"], p=(0.3, 0.4, 0.3)))
    expect = str(rng.choice(["read", "refuse", "off-scale"], p=(0.93, 0.04, 0.03)))
    content: dict[str, Any] | None = None
    if rng.random() < 0.3:
        known = sorted(n for n, p in shipped_scales().items() if not load_scale(p).flat)
        scale = load_scale(known[int(rng.integers(len(known)))])
    else:
        scale, content = own_scale(rng, f"fourth-{seed}-{index}")
    trouble = _trouble(rng) if tier == "hard" else ()
    level = _level(rng, scale, expect)
    bottom, top = sorted((scale.lowest_mark.height_mm, scale.highest_mark.height_mm))
    elevation = float({"easy": u(-5, 5), "typical": u(-14, 14), "hard": u(-12, 12)}[tier])
    if "steep" in trouble:
        elevation = float(u(12, 30) * rng.choice([-1, 1]))
    turn = float(u(-30, 30) if tier == "hard" else np.clip(rng.normal(0, 10), -25, 25))
    roll = float(u(-10, 10) if tier == "hard" else np.clip(rng.normal(0, 2.5), -6, 6))
    f35, distance, lens = framed(rng, scale, level, elevation, roll, tier, trouble, size)
    tilt = np.tan(np.radians(np.clip(rng.normal(0, 0.5, 2), -1.2, 1.2)))
    rim = max(top, level) + float(u(6, 18))
    front = float(outside_at(scale, level))
    name = list(_LIQUIDS)[int(rng.choice(len(_LIQUIDS), p=_LIQUID_SHARES))]
    lost, turned = _LIQUIDS[name]
    strength = float(np.exp(u(np.log(0.5), np.log(1.8))))
    light = str(rng.choice(LIGHTS, p=(0.3, 0.27, 0.16, 0.1, 0.17)))
    if tier == "easy" and light in ("flash", "desk"):  # good light
        light = "window"
    if "glare" in trouble:
        light = str(rng.choice(["flash", "desk", "window"]))
    facts = Facts(
        scale=scale, level_mm=None if expect == "refuse" else level,
        wall_angle_deg=float({"easy": u(60, 90), "typical": u(45, 90), "hard": u(20, 85)}[tier]),
        capillary_mm=float(u(2.3, 2.75)), tilt=(float(tilt[0]), float(tilt[1])),
        floor_mm=min(bottom, level, 0.0) - float(u(4, 12)), rim_mm=rim,
        wall_index=float(u(1.45, 1.6)), ink=_ink(rng), lens=lens,
        liquid=Liquid(name, float(u(1.33, 1.345)),
                      tuple(c * strength for c in lost), turned * strength),  # type: ignore[arg-type]
        inside=_inside(rng, scale, level, rim, expect), elevation_deg=elevation, turn_deg=turn,
        roll_deg=roll, distance_mm=distance, f35_mm=f35,
        aperture_mm=float(u(0.6, 1.8)) if rng.random() < 0.7 else 0.0,
        focus_mm=distance - front + float(rng.normal(0, 6)),
        backdrop=str(rng.choice(BACKDROPS)), board=bool(rng.random() < 0.3), light=light,
        trouble=trouble, tier=tier, expect=expect,
        phone=draw_phone(rng, trouble, size[1] / 1000), seed=int(rng.integers(2**30)))
    return facts, content


def _trouble(rng: np.random.Generator) -> tuple[str, ...]:
    kinds = np.array(["steep", "dim", "blur", "glare", "small"])
    count = 2 if rng.random() < 0.25 else 1
    chosen = rng.choice(kinds, size=count, replace=False, p=(0.48, 0.14, 0.13, 0.12, 0.13))
    return tuple(str(c) for c in chosen)


def _level(rng: np.random.Generator, scale: Scale, expect: str) -> float:
    """Among the marks and clear of steps, or above them all."""
    heights = np.sort([m.height_mm for m in scale.marks])
    if expect == "off-scale":
        return float(heights[-1] + rng.uniform(2.5, 7))
    for _ in range(1000):
        level = float(rng.uniform(heights[0] + 3, heights[-1] - 4))
        around = bore_at(scale, level + np.array([-4.0, 0.0, 6.0]))
        if np.abs(heights - level).min() < 2.2 and np.ptp(around) < 1.2:
            return level
    raise RuntimeError(f"no level found in {scale.name}")


def _ink(rng: np.random.Generator) -> Ink:
    u = rng.uniform
    return Ink(short_mm=float(u(3, 6.5)), long_mm=float(u(7.5, 14)), stroke_mm=float(u(.25, .5)),
               numeral_mm=float(u(2.3, 4.2)), font=str(rng.choice(FONTS)),
               colour=_COLOURS[int(rng.choice(5, p=(.5, .2, .1, .08, .12)))],
               round=str(rng.choice(["none", "long", "all"], p=(0.74, 0.17, 0.09))),
               side=int(rng.choice([-1, 1])), ragged=str(rng.choice(["left", "middle", "right"])),
               cover=float(1.0 if rng.random() < 0.7 else u(0.7, 0.95)),
               label=bool(rng.random() < 0.15))


def _inside(rng: np.random.Generator, scale: Scale, level: float, rim: float, expect: str
            ) -> Inside:
    u = rng.uniform
    drops, bubbles = [], []
    if rng.random() < 0.35:
        for _ in range(int(rng.integers(3, 28))):
            wide = float(u(0.4, 1.6))
            drops.append((float(u(-math.pi, math.pi)), float(u(level + 6, max(rim - 4, level + 7))),
                          wide, wide * float(u(0.9, 2.2)), wide * float(u(0.2, 0.45))))
    if rng.random() < 0.07 and expect != "refuse":
        bore = float(bore_at(scale, level))
        for _ in range(int(rng.integers(8, 60))):
            radius = float(u(0.4, 1.5))
            out = (bore - radius - 0.15) * math.sqrt(float(u(0.35, 1)))
            way = float(u(-math.pi, math.pi))
            bubbles.append((out * math.sin(way), radius * float(u(-0.2, 0.6)),
                            out * math.cos(way), radius))
    film = level + float(u(6, 20)) if rng.random() < 0.2 and expect != "refuse" else None
    ring = level + float(u(5, 25)) if rng.random() < 0.18 else None
    return Inside(tuple(drops), min(film, rim - 3) if film else None,
                  min(ring, rim - 3) if ring else None, float(u(0.1, 0.5)), tuple(bubbles))

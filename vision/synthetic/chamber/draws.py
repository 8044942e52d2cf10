"""Random parts of a scene: colours, print, liquids, lights, furniture, lens and file.

Ranges are deliberately wider than any one ward's.  Every number drawn is a
plain Python float, so that single-precision arrays stay single precision.
"""

from __future__ import annotations

import colorsys
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from vision.scale_file.scale import Scale
from vision.synthetic.chamber.glyphs import Lettering
from vision.synthetic.chamber.model import (
    AreaLight,
    Box,
    Capsule,
    Capture,
    Drop,
    Fluid,
    Panel,
    Print,
    Rgb,
    Room,
    Sticker,
    Tube,
)


class Dice:
    """A thin coat over numpy's generator that hands out plain Python values."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng

    def between(self, low: float, high: float) -> float:
        """Uniform between two bounds."""
        return float(low + (high - low) * self.rng.random())

    def scaled(self, low: float, high: float) -> float:
        """Uniform in the logarithm between two positive bounds."""
        return float(math.exp(self.between(math.log(low), math.log(high))))

    def chance(self, share: float) -> bool:
        """True with that probability."""
        return bool(self.rng.random() < share)

    def one_of(self, items: Sequence[Any], weights: Sequence[float] | None = None) -> Any:
        """One item, by weight."""
        total = None if weights is None else np.asarray(weights, float) / float(np.sum(weights))
        return items[int(self.rng.choice(len(items), p=total))]

    def whole(self, low: int, high: int) -> int:
        """A whole number, both bounds included."""
        return int(self.rng.integers(low, high + 1))

    def sign(self) -> float:
        """-1 or 1."""
        return 1.0 if self.rng.random() < 0.5 else -1.0

    def colour(self, dull: float = 0.7, dark: float = 0.12, light: float = 0.8) -> Rgb:
        """A surface colour; ``dull`` is the share of nearly grey ones."""
        strength = self.between(0, 0.18) if self.chance(dull) else self.between(0.2, 0.75)
        r, g, b = colorsys.hsv_to_rgb(self.between(0, 1), strength, 1.0)
        level = self.between(dark, light)
        return (r * level, g * level, b * level)


INKS: tuple[tuple[Rgb, float], ...] = (
    ((0.015, 0.015, 0.015), 5.0), ((0.06, 0.06, 0.065), 2.0), ((0.02, 0.04, 0.2), 2.0),
    ((0.03, 0.1, 0.45), 1.5), ((0.35, 0.02, 0.03), 1.2), ((0.12, 0.015, 0.02), 0.6),
    ((0.02, 0.14, 0.08), 0.5), ((0.75, 0.75, 0.72), 0.15),
)


def draw_print(dice: Dice, scale: Scale) -> Print:
    """Marks and figures that fit the scale's spacing and the wall's curvature."""
    heights = np.sort([m.height_mm for m in scale.marks])
    pitch = float(np.diff(heights).min())
    labels = np.sort([m.height_mm for m in scale.marks if m.label])
    spacing = float(np.diff(labels).min()) if len(labels) > 1 else 8.0
    radius = scale.outer_radius_mm
    long = dice.between(0.55, 0.95) * radius
    short = long * dice.between(0.35, 0.72)
    stroke = min(dice.between(0.2, 0.6), 0.36 * pitch)
    height = min(dice.between(2.2, 4.8), 0.6 * spacing)
    hand = Lettering(
        width=dice.between(0.45, 0.66), stroke=dice.between(0.09, 0.19),
        slant=dice.between(0.1, 0.25) if dice.chance(0.15) else 0.0,
        squareness=dice.between(1.9, 2.8) if dice.chance(0.75) else dice.between(3.0, 6.0),
        gap=dice.between(0.16, 0.3), foot_on_one=dice.chance(0.2), open_four=dice.chance(0.4),
        straight_tails=dice.chance(0.25))
    ink = dice.one_of([i for i, _ in INKS], [w for _, w in INKS])
    side = dice.one_of(["left", "right"])
    digits = max((len(m.text) for m in scale.marks if m.label), default=2)
    room_needed = long / 2 + 1.0 + digits * hand.advance * height
    slack = max(1.12 * radius - room_needed, 0.0)
    shift = (-1.0 if side == "right" else 1.0) * dice.between(0.1, 0.9) * min(slack + 2.0, 5.0)
    return Print(
        short_mm=short, long_mm=long, stroke_mm=stroke,
        long_stroke_mm=min(stroke * (dice.between(1.0, 1.6) if dice.chance(0.3) else 1.0),
                           0.42 * pitch),
        align=dice.one_of(["centre", "left", "right"]), offset_mm=shift, numerals=side,
        numeral_height_mm=height, numeral_gap_mm=dice.between(0.6, 2.0), lettering=hand,
        spine=dice.chance(0.1), unit_text=dice.chance(0.25), ink_rgb=ink,
        opacity=dice.between(0.65, 1.0))


#: Shape of each liquid's absorption over red, green, blue, and the strength's range per mm.
LIQUIDS: dict[str, tuple[Rgb, float, float]] = {
    "clear": ((0.4, 0.5, 1.0), 1e-5, 8e-4),
    "straw": ((0.06, 0.25, 1.0), 0.006, 0.06),
    "pink": ((0.08, 1.0, 0.8), 0.006, 0.05),
    "red": ((0.08, 1.0, 0.9), 0.05, 0.6),
}


def draw_fluid(dice: Dice, name: str | None = None, scale: Scale | None = None) -> Fluid:
    """A liquid by name (clear, straw, pink, red) or at random."""
    chosen = dice.one_of(list(LIQUIDS), [4.0, 2.0, 2.2, 1.8])
    name = name or chosen
    if name not in LIQUIDS:
        raise ValueError(f"the liquid must be one of {', '.join(LIQUIDS)}")
    shape, low, high = LIQUIDS[name]
    strength = dice.scaled(low, high)
    tint = [float(c * dice.between(0.75, 1.3)) for c in shape]
    cloud = {"clear": 0.0, "straw": 0.002, "pink": 0.004, "red": 0.06}[name]
    scatter = dice.between(0, cloud) if dice.chance(0.6) else 0.0
    if name == "red" and strength > 0.2:
        scatter = dice.between(0.02, 0.15)  # blood cells scatter: never black to the eye
    glow = {"clear": (0.7, 0.7, 0.7), "straw": (0.7, 0.6, 0.35), "pink": (0.7, 0.35, 0.35),
            "red": (0.5, 0.04, 0.04)}[name]
    settle, factor = -1e3, 1.0
    if name in ("pink", "red") and scale is not None and dice.chance(0.08):
        factor = dice.between(2, 5)
        settle = float(scale.height_mm(scale.lowest_mark.value)) + dice.between(1, 8)
    return Fluid(name, (tint[0] * strength, tint[1] * strength, tint[2] * strength), scatter,
                 glow, dice.between(1.333, 1.336), settle, factor)


def draw_lights(dice: Dice, name: str) -> tuple[AreaLight, ...]:
    """Lights of a room lit by window, lamp, ceiling or a mix of them."""
    lights = []
    if name in ("window", "mixed"):
        r = dice.between(2.0, 9.0)
        cool = dice.between(0.9, 1.15)
        lights.append(AreaLight(
            dice.sign() * dice.between(20, 115), dice.between(0, 35), dice.between(5, 24),
            dice.between(9, 32), (r, r, r * cool), dice.between(0.4, 2), dice.whole(1, 3)))
    if name in ("lamp", "mixed"):
        r = dice.between(6, 25) * (0.5 if name == "mixed" else 1.0)
        warm = dice.between(0.6, 1.0)
        lights.append(AreaLight(
            dice.between(-140, 140), dice.between(10, 65), dice.between(2, 9),
            dice.between(2, 9), (r, r * (0.5 + 0.5 * warm), r * warm), dice.between(0.4, 3)))
    if name in ("ceiling", "mixed"):
        for _ in range(dice.whole(1, 2)):
            r = dice.between(2.5, 8)
            lights.append(AreaLight(
                dice.between(-150, 150), dice.between(40, 80), dice.between(8, 50),
                dice.between(3, 12), (r, r, r * dice.between(0.85, 1.1)), dice.between(0.5, 3)))
    for _ in range(dice.whole(0, 3)):  # dark things on the viewer's side
        dark = -dice.between(0.1, 0.8)
        lights.append(AreaLight(
            dice.between(-120, 120), dice.between(-45, 35), dice.between(3, 25),
            dice.between(5, 40), (dark, dark, dark), dice.between(0.5, 6)))
    return tuple(lights)


def draw_room(dice: Dice, scale: Scale, tube: Tube, light: str) -> Room:
    """Panel, wall, pole, blocks, cords and lights around the chamber."""
    half = (tube.lid_mm - tube.floor_mm) / 2
    panel_y = scale.outer_radius_mm + max(tube.lid_overhang_mm, tube.collar_overhang_mm)
    panel_y += dice.between(0.5, 40) if dice.chance(0.85) else dice.between(40, 120)
    panel = None
    if dice.chance(0.85):
        panel = Panel(
            left_mm=-dice.between(22, 110), right_mm=dice.between(22, 110),
            low_mm=-half - dice.between(-15, 90), high_mm=half + dice.between(-20, 90),
            y_mm=panel_y, tilt_deg=dice.between(-2, 2), rgb=dice.colour(0.7, 0.1, 0.85),
            pattern=dice.one_of(["plain", "rules", "stripes", "speckle", "blocks"],
                                [6, 2, 0.6, 0.8, 1.0]),
            pattern_rgb=dice.colour(0.6, 0.02, 0.7), pattern_mm=dice.scaled(4, 40),
            pattern_x_mm=dice.sign() * dice.between(28, 60))
        if panel.pattern == "rules":
            panel = Panel(**{**panel.__dict__, "pattern_mm": dice.one_of([10.0, 13.6, 5.0])})
    wall_y = panel_y + dice.scaled(30, 900)
    rods: list[Capsule] = []
    if dice.chance(0.7):
        x, r = dice.sign() * dice.between(35, 120), dice.between(5, 17)
        y = panel_y + r + 1 + dice.between(0, 20) if panel else dice.between(20, 80)
        tip = dice.between(-6, 6)
        grey = dice.between(0.25, 0.75)
        rods.append(Capsule((x + tip, y, -900.0), (x - tip, y, 900.0), r, (grey, grey, grey),
                            dice.between(0.05, 0.6)))
    top = half + tube.lid_height_mm
    if dice.chance(0.6):
        tone = dice.between(0.3, 0.8)
        rods.append(Capsule((dice.between(-6, 6), dice.between(-5, 5), top),
                            (dice.between(-40, 40), dice.between(0, 10), top + 220.0),
                            dice.between(1.2, 3.0), (tone, tone, tone), 0.05))
    for _ in range(dice.whole(0, 2) if dice.chance(0.35) else 0):
        x = dice.sign() * dice.between(24, 90)
        rods.append(Capsule((x, dice.between(0, 25), 400.0),
                            (x + dice.between(-8, 8), dice.between(0, 25), -400.0),
                            dice.between(0.5, 2.2), dice.colour(0.6, 0.03, 0.8), 0.04))
    boxes = []
    for _ in range(dice.whole(0, 3)):
        w, h, d = dice.between(15, 140), dice.between(15, 140), dice.between(15, 80)
        x = dice.between(-180, 180 - w)
        z = dice.between(-230, 200)
        y = panel_y + 2 + dice.between(0, max(wall_y - panel_y - d, 1.0))
        boxes.append(Box((x, y, z), (x + w, y + d, z + h), dice.colour(0.45)))
    level = dice.between(0.35, 1.0)
    return Room(
        panel=panel, wall_y_mm=wall_y, wall_rgb=dice.colour(0.65, 0.15, 0.85),
        wall_pattern=dice.one_of(["plain", "tiles", "blocks", "stripes", "speckle"],
                                 [6, 1.2, 1.2, 0.8, 0.8]),
        wall_pattern_rgb=dice.colour(0.6, 0.05, 0.8), wall_pattern_mm=dice.scaled(8, 160),
        rods=tuple(rods), boxes=tuple(boxes), lights=draw_lights(dice, light),
        ambient=(level * dice.between(0.92, 1.08), level, level * dice.between(0.9, 1.1)),
        floor_ambient=dice.between(0.08, 0.85), horizon=dice.scaled(0.5, 5.0),
        shadow=dice.between(0.15, 0.75),
        light_name=light)


def draw_tube(dice: Dice, scale: Scale) -> Tube:
    """The tube around a scale, with its lid, collar, stem and sometimes a drip tip."""
    heights = [m.height_mm for m in scale.marks]
    low = min(min(heights), float(scale.height_mm(0.0)) if scale.direction == "up" else 1e9)
    lid, collar = dice.colour(0.75, 0.2, 0.85), dice.colour(0.75, 0.2, 0.85)
    return Tube(
        floor_mm=low - dice.between(2.0, 10.0), lid_mm=max(heights) + dice.between(7.0, 24.0),
        index=dice.one_of([1.4914, 1.53, 1.54, 1.585, 1.592]),
        lid_overhang_mm=dice.between(0.3, 5.0), lid_height_mm=dice.between(6, 22),
        collar_overhang_mm=dice.between(0.3, 5.0), collar_height_mm=dice.between(6, 22),
        stem_radius_mm=dice.between(1.5, 4.0), stem_length_mm=dice.between(15, 150),
        drip_tip_mm=dice.between(3, 14) if dice.chance(0.4) else 0.0,
        drip_tip_radius_mm=dice.between(1.2, 3.5), lid_rgb=lid,
        collar_rgb=lid if dice.chance(0.7) else collar, tip_rgb=dice.colour(0.9, 0.3, 0.85))


def draw_drops(dice: Dice, level_mm: float, lid_mm: float, many: bool) -> tuple[Drop, ...]:
    """Drops hanging on the inner wall above the surface."""
    if lid_mm - level_mm < 8 or not dice.chance(0.9 if many else 0.4):
        return ()
    drops = []
    for _ in range(dice.whole(1, 30 if many else 9)):
        radius = dice.scaled(0.3, 2.2)
        drops.append(Drop(dice.between(-180, 180), dice.between(level_mm + 4.5, lid_mm),
                          radius, radius * dice.between(0.1, 0.4)))
    return tuple(drops)


def draw_sticker(dice: Dice, scale: Scale, ink: Print, tube: Tube) -> Sticker:
    """An opaque label on the wall, beside the print."""
    digits = max((len(m.text) for m in scale.marks if m.label), default=2)
    figures = (ink.numeral_gap_mm
               + digits * ink.lettering.advance * ink.numeral_height_mm + 0.5)
    right = dice.chance(0.5)
    edge = ink.long_mm / 2 + 0.8 + (figures if (ink.numerals == "right") == right else 0.0)
    width = dice.between(6, 22)
    left = ink.offset_mm + edge if right else ink.offset_mm - edge - width
    low = dice.between(tube.floor_mm, tube.lid_mm - 15)
    return Sticker(left, left + width, low, low + dice.between(10, 45),
                   dice.colour(0.7, 0.3, 0.9))


def draw_capture(dice: Dice, tier: str, tall: float) -> Capture:
    """Lens, sensor and file; ``tall`` is the picture's height over 2400."""
    top = {"easy": 1.1, "typical": 1.9}.get(tier, 2.8)
    size = math.sqrt(tall)
    noise = dice.scaled(0.002, 0.012 if tier == "easy" else 0.03)
    return Capture(
        blur_px=dice.between(0.45, top) * size,
        motion_px=dice.between(0, 3.5) * size if tier != "easy" and dice.chance(0.25) else 0.0,
        motion_deg=dice.between(0, 180), exposure=dice.between(0.4, 1.0),
        read_noise=0.3 * noise, shot_noise=noise,
        noise_grain_px=dice.between(0.4, 1.0) if dice.chance(0.5) else 0.0,
        white_balance=(dice.between(0.9, 1.12), 1.0, dice.between(0.86, 1.12)),
        contrast=dice.between(0, 0.6), vignette=dice.between(0, 0.4),
        veil=dice.between(0, 0.08) if dice.chance(0.4) else 0.0,
        halo=dice.between(0, 0.7) if dice.chance(0.5) else 0.0,
        jpeg_quality=dice.whole(74, 97))

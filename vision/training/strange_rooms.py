"""Rooms, prints and chambers that teach more than they resemble: what networks are not to mind."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from vision.synthetic.chamber.collage import collage
from vision.synthetic.chamber.model import Box, Capsule, ChamberScene, Fluid, Panel, Room

#: Nothing: the chamber is empty, whatever its level is called.
NO_LIQUID = Fluid(name="none", index=1.0)
_MOST_SEED = 2**31 - 1


def is_empty(scene: ChamberScene) -> bool:
    """Whether there is no liquid in the chamber."""
    return scene.fluid.index == NO_LIQUID.index


def emptied(scene: ChamberScene) -> ChamberScene:
    """The scene without its liquid; drops stay where they hang."""
    return replace(scene, fluid=NO_LIQUID)


def _mean(seed: int) -> tuple[float, float, float]:
    red, green, blue = collage(seed).mean(axis=(1, 2))
    return float(red), float(green), float(blue)


def strange_room(room: Room, outer_mm: float, rng: np.random.Generator) -> Room:
    """The room with a collage on its wall, often on its panel too or without one, and bars and
    boards anywhere behind a chamber of that outer radius."""
    wall, card = (int(v) for v in rng.integers(_MOST_SEED, size=2))
    room = replace(room, wall_pattern="collage", wall_pattern_seed=wall, wall_rgb=_mean(wall),
                   wall_pattern_mm=float(np.exp(rng.uniform(math.log(0.7), math.log(3.5)))),
                   wall_y_mm=float(np.exp(rng.uniform(math.log(outer_mm + 25), math.log(900)))))
    kind = rng.random()
    if kind < 0.45:
        room = replace(room, panel=None)
    elif kind < 0.85:
        panel = room.panel or Panel()
        room = replace(room, panel=replace(
            panel, pattern="collage", pattern_seed=card, rgb=_mean(card),
            pattern_mm=float(np.exp(rng.uniform(math.log(0.35), math.log(1.4))))))
    boxes, rods = list(room.boxes), list(room.rods)
    for _ in range(int(rng.integers(0, 4))):
        y, at = float(rng.uniform(outer_mm + 4, 160)), float(rng.normal(0, 55))
        thick = float(np.exp(rng.uniform(math.log(0.6), math.log(14))))
        tint = rng.random(3) * float(rng.uniform(0.05, 0.9))
        rgb = (float(tint[0]), float(tint[1]), float(tint[2]))
        along = bool(rng.random() < 0.65)  # across the chamber, or beside and behind it upright
        if rng.random() < 0.5:
            low, high = ((-400.0, y, at), (400.0, y + 10, at + 2 * thick)) if along else (
                (at, y, -400.0), (at + 2 * thick, y + 10, 400.0))
            boxes.append(Box(low, high, rgb))
        else:
            tip = float(rng.normal(0, 30))
            start, end = ((-300.0, y + thick, at - tip), (300.0, y + thick, at + tip)) if along \
                else ((at - tip, y + thick, -300.0), (at + tip, y + thick, 300.0))
            rods.append(Capsule(start, end, thick, rgb, float(rng.uniform(0.02, 0.3))))
    return replace(room, boxes=tuple(boxes), rods=tuple(rods))


def ringed(scene: ChamberScene, rng: np.random.Generator) -> ChamberScene:
    """The scene with its long marks, or all of them, right round the tube."""
    round_mm = 2 * math.pi * scene.scale.outer_radius_mm * 0.9999
    p = scene.print
    short = round_mm if rng.random() < 0.5 else p.short_mm
    return replace(scene, print=replace(p, long_mm=round_mm, short_mm=short, align="centre",
                                        offset_mm=0.0, spine=False))

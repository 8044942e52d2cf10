"""Scales that exist in no other set: even tubes and stepped ones, heights from the bore."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.scale_file.scale import Scale, parse_scale


def own_scale(rng: np.random.Generator) -> tuple[Scale, dict[str, Any]]:
    """A scale of our own invention and its file's content: an even tube, or one with a step."""
    wide = float(rng.uniform(15, 40))
    wall = round(float(rng.uniform(1.0, 3.2)), 1)
    wide, narrow = round(wide, 1), round(wide * float(rng.uniform(0.45, 0.7)), 1)
    per_mm = math.pi / 4 * wide**2 / 1000
    step = min((0.2, 0.5, 1.0, 2.0, 5.0), key=lambda s: abs(math.log(s / per_mm / 1.7)))
    count = int(np.clip(rng.uniform(55, 105) / (step / per_mm), 20, 90) // 5 * 5)
    top = count * step
    stepped = bool(rng.random() < 0.3 and narrow > 9)
    heights, bores = [[0.0, 0.0], [top, top / per_mm]], [[0.0, wide], [top, wide]]
    first, base, long_at = step * int(rng.integers(0, 3)), 0.0, 5 * step
    outer: list[list[float]] = []
    if stepped:
        h1, cone = float(rng.uniform(12, 25)), float(rng.uniform(3, 5))
        z = np.linspace(0, cone, 9)
        d = narrow + (wide - narrow) * z / cone
        v1 = math.pi / 4 * narrow**2 / 1000 * h1
        v = v1 + np.concatenate([[0], np.cumsum(math.pi / 12 / 1000 * np.diff(z) * (
            d[1:]**2 + d[1:] * d[:-1] + d[:-1]**2))])
        top += math.ceil(v[-1] / step) * step
        heights = [[0.0, 0.0], *([float(a), float(h1 + b)] for a, b in zip(v, z, strict=True)),
                   [top, float(h1 + cone + (top - v[-1]) / per_mm)]]
        bores = [[0.0, narrow], [float(v[0]), narrow], [float(v[-1]), wide], [top, wide]]
        base = math.ceil((v[-1] + 0.4 * step) / step) * step
        if rng.random() < 0.5:
            outer = [[a, b + 2 * wall] for a, b in bores]
        first = base
    content: dict[str, Any] = {
        "name": f"trace-{wide:g}-{step:g}", "unit": "mL", "direction": "up",
        "inner_diameter_mm": bores if stepped else wide, "wall_mm": wall, "capacity": top,
        "height_mm": heights, "marks": [
            {"from": first, "to": top, "step": step, "length": "short"},
            {"from": math.ceil(first / long_at) * long_at, "to": top, "step": long_at,
             "length": "long", "label": True}]}
    if outer:
        content["outer_diameter_mm"] = outer
    return parse_scale(content), content

"""Scales of this set's own: even, stepped and tapered bores, heights by adding up slices."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.scale_file.scale import Scale, parse_scale

_STEPS_ML = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)


def invented_scale(rng: np.random.Generator, name: str) -> tuple[Scale, dict[str, Any]]:
    """A scale and its file's content."""
    kind = str(rng.choice(["even", "stepped", "tapered"], p=(0.5, 0.28, 0.22)))
    tall = float(rng.uniform(70, 130))
    wide = round(float(rng.uniform(12, 42)), 1)
    wall = round(float(rng.uniform(0.9, 2.6)), 2)
    if kind == "even":
        path = np.array([[0.0, wide], [tall, wide]])
    elif kind == "tapered":
        path = np.array([[0.0, wide * float(rng.uniform(0.72, 0.9))], [tall, wide]])
    else:
        foot, cone = float(rng.uniform(22, 38)), float(rng.uniform(3, 7))
        narrow = wide * float(rng.uniform(0.45, 0.75))
        path = np.array([[0.0, narrow], [foot, narrow], [foot + cone, wide], [tall, wide]])
    z = np.unique(np.concatenate([np.linspace(0, tall, 41), *(np.linspace(a, b, 9) for a, b in zip(
        path[:-1, 0], path[1:, 0], strict=True) if b - a < 10)]))
    bore = np.interp(z, path[:, 0], path[:, 1])
    slices = math.pi / 12 * np.diff(z) * (bore[1:]**2 + bore[1:] * bore[:-1] + bore[:-1]**2)
    volume = np.concatenate([[0.0], np.cumsum(slices)]) / 1000
    gap = float(rng.uniform(1.2, 2.6))
    marks: list[dict[str, Any]] = []
    parts = [(0.0, volume[-1])]
    if kind == "stepped":
        at = np.interp([foot - 0.6, foot + cone + 0.6], z, volume)
        parts = [(0.0, float(at[0])), (float(at[1]), volume[-1])]
    for low, high in parts:
        room = float(np.interp(high, volume, z) - np.interp(low, volume, z))
        wanted = gap * (high - low) / room
        step = _STEPS_ML[int(np.argmin(np.abs(np.log(np.array(_STEPS_ML) / wanted))))]
        bold = step * (5 if rng.random() < 0.7 or step in (0.5, 5.0) else 10)
        first, last = (math.ceil(low / step + (low == 0.0) * int(rng.integers(0, 3))) * step,
                       math.floor(high / step) * step)
        marks += [{"from": round(first, 3), "to": round(last, 3), "step": step, "length": "short"}]
        start = math.ceil(first / bold - 1e-9) * bold
        if start <= last:
            marks += [{"from": round(start, 3), "to": round(last, 3), "step": bold,
                       "length": "long", "label": True}]
    content: dict[str, Any] = {
        "name": name, "unit": "mL", "direction": "up", "wall_mm": wall,
        "inner_diameter_mm": wide if kind == "even" else [
            [round(float(v), 5), round(float(d), 4)] for v, d in zip(volume, bore, strict=True)],
        "capacity": round(float(volume[-1]), 5),
        "height_mm": [[round(float(v), 5), round(float(h), 4)] for v, h in zip(
            volume[[0, -1]] if kind == "even" else volume,
            z[[0, -1]] if kind == "even" else z, strict=True)],
        "marks": marks}
    if kind != "even" and rng.random() < 0.6:
        content["outer_diameter_mm"] = [[v, round(d + 2 * wall, 4)]
                                        for v, d in content["inner_diameter_mm"]]
    return parse_scale(content), content

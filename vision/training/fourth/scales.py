"""Scales of this set's own: a bore as straight pieces, volumes by Simpson's rule."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vision.scale_file.scale import Scale, parse_scale

#: Marks' steps that are printed on glassware (ISO 4788 and common practice).
_STEPS = tuple(m * 10.0**e for e in (-2, -1, 0, 1) for m in (1, 2, 5))


def bore_at(scale: Scale, height_mm: Any) -> Any:
    """Radius of the bore (mm) at heights along the axis."""
    at = sorted((float(scale.height_mm(v)), d / 2) for v, d in scale.diameter_knots)
    return np.interp(height_mm, *np.array(at).T)


def outside_at(scale: Scale, height_mm: Any) -> Any:
    """Outer radius (mm) at heights along the axis."""
    outline = scale.outline
    return (np.full_like(np.asarray(height_mm, float), scale.outer_radius_mm)
            if outline is None else outline.at(height_mm))


def own_scale(rng: np.random.Generator, name: str) -> tuple[Scale, dict[str, Any]]:
    """A scale and its file's content."""
    length, bore = float(rng.uniform(60, 150)), float(rng.uniform(14, 46))
    shape = str(rng.choice(["even", "stepped", "tapered"], p=(0.55, 0.2, 0.25)))
    knees: list[tuple[float, float]] = [(0.0, bore), (length, bore)]
    if shape == "tapered":
        knees[0] = (0.0, bore * float(rng.uniform(0.75, 0.95)))
    if shape == "stepped":
        low, rise = length * float(rng.uniform(0.22, 0.4)), float(rng.uniform(4, 9))
        thin = bore * float(rng.uniform(0.5, 0.8))
        knees = [(0.0, thin), (low, thin), (low + rise, bore), (length, bore)]
    wall = round(float(rng.uniform(1.0, 3.0)), 2)
    heights, volumes, bores = _filled(knees)
    marks: list[dict[str, Any]] = []
    spans = [(0.0, length)] if shape != "stepped" else [(0.0, low - 0.8),
                                                        (low + rise + 0.8, length)]
    apart = float(rng.uniform(1.1, 2.8))
    for below, above in spans:
        low_ml, high_ml = np.interp([below, above], heights, volumes)
        step = min(_STEPS, key=lambda s: abs(math.log(s / (apart * (high_ml - low_ml)
                                                           / (above - below)))))
        long_every = 5 if str(step).strip("0.")[0] == "2" or rng.random() < 0.6 else 10
        first, last = math.ceil(low_ml / step - 1e-9), math.floor(high_ml / step)
        marks.append({"from": round(first * step, 3), "to": round(last * step, 3),
                      "step": step, "length": "short"})
        bold = long_every * step
        first, last = math.ceil(low_ml / bold - 1e-9), math.floor(high_ml / bold)
        if last >= first:
            marks.append({"from": round(first * bold, 3), "to": round(last * bold, 3),
                          "step": bold, "length": "long", "label": True})
    table = [[round(float(v), 5), round(float(b), 4)] for v, b in zip(volumes, bores, strict=True)]
    ends = slice(None, None, len(heights) - 1) if shape == "even" else slice(None)
    content: dict[str, Any] = {
        "name": name, "unit": "mL", "direction": "up", "wall_mm": wall,
        "inner_diameter_mm": round(bore, 4) if shape == "even" else table,
        "capacity": round(float(volumes[-1]), 5), "marks": marks,
        "height_mm": [[round(float(v), 5), round(float(z), 4)] for v, z in zip(
            volumes[ends], heights[ends], strict=True)]}
    if shape != "even" and rng.random() < 0.6:
        content["outer_diameter_mm"] = [[v, round(b + 2 * wall, 4)] for v, b in table]
    return parse_scale(content), content


def _filled(knees: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Heights (mm), volumes below them (mL) and bores (mm); Simpson is exact for cones."""
    at, wide = np.array(knees).T
    heights = np.unique(np.concatenate([np.linspace(a, b, 15) for a, b in zip(
        at[:-1], at[1:], strict=True)]))
    bores = np.interp(heights, at, wide)
    middle = (bores[1:] + bores[:-1]) / 2
    slices = np.diff(heights) / 6 * math.pi / 4 * (bores[:-1]**2 + 4 * middle**2 + bores[1:]**2)
    return heights, np.concatenate([[0.0], np.cumsum(slices) / 1000]), bores

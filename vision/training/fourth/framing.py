"""How a person holds the phone: distance, focal length, and what is in the middle."""

from __future__ import annotations

import math

import numpy as np

from vision.scale_file.scale import Scale
from vision.training.fourth.lens import Lens, focal_in_px, lens_before

#: Least pixels a division, but for pictures that are small on purpose.
_LEAST_PX = 8.0


def framed(rng: np.random.Generator, scale: Scale, level_mm: float, elevation_deg: float,
           roll_deg: float, tier: str, trouble: tuple[str, ...], size: tuple[int, int]
           ) -> tuple[float, float, Lens]:
    """Focal length (35 mm-equivalent), distance (mm) and the camera.

    A focal length is drawn, then the distance among those from 250 to 700 mm at which the scale
    fills 35 to 95 % of the picture's height and its divisions are large enough.
    """
    bottom, top = sorted((scale.lowest_mark.height_mm, scale.highest_mark.height_mm))
    seen = (top - bottom) * math.cos(math.radians(elevation_deg))
    value = float(scale.value_at(level_mm))
    division = abs(float(scale.height_mm(value + scale.division_at(value))) - level_mm)
    lowest, highest = 0.35 * size[1] / seen, 0.95 * size[1] / seen
    if "small" in trouble:
        lowest, highest = 4.8 / division, min(7.9 / division, highest)
    else:
        lowest = max(lowest, _LEAST_PX / division)
    f35 = distance = per_mm = 0.0
    for _ in range(60):
        f35 = float(rng.uniform(24, 70))
        focal = focal_in_px(f35, size)
        low, high = max(lowest, focal / 700), min(highest, focal / 250)
        if low <= high:
            per_mm = float(rng.uniform(low, high))
            break
    else:  # a scale too short, too long or too fine for these bounds: as near as they allow
        nearest = focal_in_px(1.0, size) / 250
        f35 = min(max(f35, lowest / nearest), 70.0)
        per_mm = min(max(lowest, focal_in_px(f35, size) / 700), f35 * nearest)
    distance = focal_in_px(f35, size) / per_mm
    share = per_mm * seen / size[1]
    bend = float(np.clip(rng.normal(0, 0.006), -0.015, 0.015))
    spare = max(0.5 - share / 2, 0.02)
    for _ in range(200):
        up = float(rng.uniform(-1, 1)) * spare * size[1] / per_mm
        side = float(rng.normal(0, 0.07)) * size[0] / per_mm
        lens = lens_before(level_mm, distance, elevation_deg,
                           (side, (bottom + top) / 2 + up, 0.0), roll_deg, f35, bend, size)
        x, y = lens.appears(np.array([[0.0, level_mm, 0.0]]))[0]
        if 0.12 < y / size[1] < 0.88 and 0.2 < x / size[0] < 0.8:
            break
    return f35, distance, lens


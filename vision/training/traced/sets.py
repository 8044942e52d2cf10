"""Several photos of one traced chamber: where each camera stands, and which shows another level."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.training.traced.draws import TracedScene, even_about, seen_from

#: How far the level of a moved photo lies from the others', divisions.
MOVED_DIVISIONS = (2.0, 6.0)
#: Drops, films and traces begin at least so far above a level, mm.
_CLEAR_MM = 4.0
_TRIES = 100


def views_of(scene: TracedScene, seed: int, index: int, views: int, size: tuple[int, int],
             moved_share: float = 0.0) -> tuple[list[TracedScene], int | None]:
    """The scene as drawn and the same chamber from ``views`` - 1 other places, and the number of
    the photo that shows another level (None: all show the same)."""
    scenes = [scene] + [seen_from(scene, np.random.default_rng([seed, index, 80 + view]), size)
                        for view in range(1, views)]
    fate = np.random.default_rng([seed, index, 79])
    if fate.random() >= moved_share:
        return scenes, None
    moved = int(fate.integers(views))
    level = _another_level(scene, fate)
    if level is None:
        return scenes, None
    one = scenes[moved]  # what the liquid covers now is gone
    scenes[moved] = replace(
        one, level_mm=level, drops=tuple(d for d in one.drops if d.height_mm > level + _CLEAR_MM),
        ring_mm=_above(one.ring_mm, level), film_mm=_above(one.film_mm, level))
    return scenes, moved


def _above(height_mm: float | None, level_mm: float) -> float | None:
    return height_mm if height_mm is not None and height_mm > level_mm + _CLEAR_MM else None


def _another_level(scene: TracedScene, rng: np.random.Generator) -> float | None:
    """A level some divisions away where the bore is as even (None: there is none)."""
    assert scene.level_mm is not None
    scale, value = scene.scale, float(scene.scale.value_at(scene.level_mm))
    low, high = (m.height_mm for m in (scale.lowest_mark, scale.highest_mark))
    for _ in range(_TRIES):
        steps = float(rng.choice([-1, 1]) * rng.uniform(*MOVED_DIVISIONS))
        other = value + steps * float(scale.division_at(value))
        if not scale.lowest_mark.value <= other <= scale.highest_mark.value:
            continue
        level = float(scale.height_mm(other))
        apart = abs(other - value) / max(float(scale.division_at(v)) for v in (other, value))
        inside = low + 0.3 < level < high - 0.3
        if inside and even_about(scale, level) and MOVED_DIVISIONS[0] <= apart:
            return level
    return None

"""Labelled photos for the level, with exact truth: rooms drawn by projection.

>>> from vision.synthetic.bedside import write_level_scenes
>>> write_level_scenes("/tmp/level", count=20, seed=1)        # doctest: +SKIP
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.errors import InputError
from vision.synthetic.chamber.dataset import MOST_SCENES
from vision.synthetic.chamber.sets import check_set, view_name

if TYPE_CHECKING:
    from vision.synthetic.bedside.world import World


def level_scene(seed: int, index: int, kind: str | None = None, chamber: bool | None = None
                ) -> tuple[bytes, dict[str, Any]]:
    """One photo (JPEG bytes) and its label; the same seed and index give the same photo.

    ``kind`` and ``chamber`` (whether one hangs there) are drawn when not given.
    """
    from vision.synthetic.bedside.paint import paint
    from vision.synthetic.bedside.world import KINDS, random_world

    rng = np.random.default_rng([seed, index])
    drawn = str(rng.choice(list(KINDS), p=list(KINDS.values())))
    kind = kind or drawn
    world = random_world(rng, kind, chamber)
    light = paint(world, rng)
    return _photo(world, light, rng, f"level_{index:04d}.jpg")


def level_set(seed: int, index: int, views: int, moved_share: float = 0.0
              ) -> list[tuple[bytes, dict[str, Any]]]:
    """``views`` photos of one room with both cards, from different places, with their labels.

    In a moved set (of which ``moved_share`` is the probability) the landmark lies 2 to 6 cm
    higher or lower in one of them.
    """
    from vision.synthetic.bedside.paint import paint
    from vision.synthetic.bedside.world import landmark_moved, random_world, seen_again

    check_set(views, None, moved_share)
    fate = np.random.default_rng([seed, index, 1])
    world = random_world(np.random.default_rng([seed, index, 2]), "cards")
    odd = int(fate.integers(views)) if fate.random() < moved_share else None
    by_mm = float(fate.choice([-1.0, 1.0]) * fate.uniform(20.0, 60.0))
    out = []
    for view in range(views):
        rng = np.random.default_rng([seed, index, 4 + view])
        here = world if view == 0 else seen_again(world, rng)
        if view == odd:
            here = landmark_moved(here, by_mm)
        # the same paint and lamps in all
        light = paint(here, np.random.default_rng([seed, index, 3]))
        data, label = _photo(here, light, rng, f"set_{index:05d}_{view_name(view)}.jpg")
        label |= {"set": index, "view": view_name(view), "moved": odd is not None}
        out.append((data, label | ({} if odd is None else {"moved_view": view_name(odd)})))
    return out


def _photo(world: World, light: np.ndarray, rng: np.random.Generator, name: str
           ) -> tuple[bytes, dict[str, Any]]:
    """The photo (JPEG bytes) of a room whose light is painted, and its label."""
    from vision.synthetic.bedside.picture import develop, jpeg
    from vision.synthetic.bedside.world import EXPECT

    view, kind = world.view, world.kind
    zero, landmark = view.project(np.array([world.zero.centre, world.landmark_point]))
    if kind == "cut":
        light, zero, landmark = _cut(light, zero, landmark, world.zero_mm * 0.5
                                     * view.focal_px / view.to_camera(world.zero.centre)[0, 2])
    rgb, done = develop(light, rng, smeared=kind == "smeared")
    tagged = rng.random() < 0.9
    label = {
        "file": name, "case": kind, "expect": EXPECT[kind],
        "mode": "tap" if kind in ("tap", "horizon") else "cards",
        "true_offset_mm": world.offset_mm, "zero_card_mm": world.zero_mm,
        "landmark_card_mm": world.landmark_mm, "landmark_tip_mm": [-35, 0],
        "landmark_px": [float(v) for v in landmark], "zero_px": [float(v) for v in zero],
        "f35": world.f35, "focal_px": view.focal_px, "focal_in_file": bool(tagged),
        "width": rgb.shape[1], "height": rgb.shape[0],
        "gravity_camera": [float(v) for v in view.axes @ np.array([0, -1.0, 0])],
        "camera_above_zero_mm": float(view.position[1] - world.zero.centre[1]),
        **world.facts, **world.view_facts(), **done,
    }
    if kind == "cut":
        label.pop("chamber_outline_px", None)  # measured before the cut
    if kind == "horizon":
        del label["depth_difference_mm"]  # the person does not know it
    return jpeg(rgb, rng, world.f35 if tagged else None, bool(rng.random() < 0.3)), label


def _cut(light: np.ndarray, zero: np.ndarray, landmark: np.ndarray, half_px: float
         ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Crop the photo through the zero card, keeping the landmark."""
    if zero[0] > landmark[0]:
        return np.ascontiguousarray(light[:, : int(zero[0] + 0.4 * half_px)]), zero, landmark
    start = int(zero[0] - 0.4 * half_px)
    shift = np.array([start, 0.0])
    return np.ascontiguousarray(light[:, start:]), zero - shift, landmark - shift


def level_scenes(count: int, seed: int, views: int = 1, moved_share: float = 0.0
                 ) -> Iterator[tuple[bytes, dict[str, Any]]]:
    """Photos with labels of ``count`` rooms: of mixed kinds, or each in ``views`` photos."""
    for index in range(count):
        if views == 1:
            yield level_scene(seed, index)
        else:
            yield from level_set(seed, index, views, moved_share)


def write_level_scenes(out: str | Path, count: int, seed: int, views: int = 1,
                       moved_share: float = 0.0) -> Path:
    """Write photos and ``labels.jsonl`` into a folder; returns the label file."""
    if not 1 <= count <= MOST_SCENES:
        raise InputError(f"The number of photos must be from 1 to {MOST_SCENES}.")
    if seed < 0:
        raise InputError("The seed must be 0 or more.")
    if views != 1:
        check_set(views, None, moved_share)
    folder = Path(out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        raise InputError(f"The folder {folder} cannot be written to; choose another.") from None
    labels = folder / "labels.jsonl"
    with labels.open("w", encoding="utf-8") as lines:
        for data, label in level_scenes(count, seed, views, moved_share):
            (folder / label["file"]).write_bytes(data)
            lines.write(json.dumps(label) + "\n")
    return labels

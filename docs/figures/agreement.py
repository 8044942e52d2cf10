"""Lesson and reader on many pictures: how often the reader's interval holds the lesson's truth."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from figures.blocks import differing

from vision.imaging.photo import load_photo
from vision.lesson.parallax import eye_reading
from vision.lesson.rounds import ChamberTask, chamber_tasks
from vision.synthetic.chamber.dataset import save_photo
from vision.synthetic.chamber.lesson import scene_of
from vision.synthetic.chamber.render import render_scene
from vision.volume.read import read_volume

COUNT, SEED = 24, 100


def measure() -> dict[str, Any]:
    """Make the pictures of one class set, read them, compare; errors in divisions."""
    return {"seed": SEED, "count": COUNT,
            "rows": [row(task) for task in chamber_tasks(SEED, COUNT)]}


def row(task: ChamberTask) -> dict[str, Any]:
    """One picture: what is true and what was read."""
    scene = scene_of(task)
    with tempfile.TemporaryDirectory() as folder:
        photo = Path(folder) / "picture.jpg"
        save_photo(render_scene(scene, samples=2), photo, scene.camera.f35, 90)
        read = read_volume(load_photo(photo), task.view.scale)
    truth, division = task.view.true_value, task.view.division
    found: dict[str, Any] = {"trap": task.trap, "true": round(truth, 3), "status": read.status}
    if read.value is not None and read.interval is not None:
        naive = (read.naive_value or 0.0) - read.value - eye_reading(task.view).error
        found |= {"read": round(read.value, 3), "interval": [round(v, 3) for v in read.interval],
                  "error": round((read.value - truth) / division, 3),
                  "naive_apart": round(abs(naive) / division, 3)}
    return found


def texts(kept: dict[str, Any]) -> dict[str, str]:
    """The sentence of the educator's page."""
    rows = [r for r in kept["rows"] if "read" in r]
    held = sum(r["interval"][0] <= r["true"] <= r["interval"][1] for r in rows)
    size = np.abs([r["error"] for r in rows])
    apart = np.mean([r["naive_apart"] for r in rows])
    return {"lesson-agreement": (
        f"Of {kept['count']} pictures (seed {kept['seed']}) {len(rows)} were read, and {held} of "
        f"the {len(rows)} intervals held the lesson's value; the mean size of the error was "
        f"{size.mean():.2f} divisions, the largest {size.max():.2f}, and the naive errors of "
        f"reader and lesson differed by {apart:.2f} divisions on average.")}


def sample(kept: dict[str, Any]) -> list[str]:
    """What one of the pictures tells now and did not then."""
    now, then = row(chamber_tasks(kept["seed"], kept["count"])[0]), kept["rows"][0]
    return differing(then, now)

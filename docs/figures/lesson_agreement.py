"""Lesson and reader on many pictures: how often the reader's interval holds the lesson's truth.

``python docs/figures/lesson_agreement.py [COUNT] [SEED]`` prints a line a picture and the
summary; COUNT pictures of one class set, 40 unless told.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from vision.imaging.photo import load_photo
from vision.lesson.parallax import eye_reading
from vision.lesson.rounds import chamber_tasks
from vision.synthetic.chamber.dataset import save_photo
from vision.synthetic.chamber.lesson import scene_of
from vision.synthetic.chamber.render import render_scene
from vision.volume.read import read_volume


def main(count: int = 40, seed: int = 100) -> None:
    """Make the pictures, read them, compare."""
    errors, inside, naive, refused = [], 0, [], 0
    with tempfile.TemporaryDirectory() as folder:
        for n, task in enumerate(chamber_tasks(seed, count), start=1):
            scene, start = scene_of(task), time.process_time()
            photo = Path(folder) / "picture.jpg"
            save_photo(render_scene(scene, samples=2), photo, scene.camera.f35, 90)
            made = time.process_time() - start
            read = read_volume(load_photo(photo), task.view.scale)
            truth, division = task.view.true_value, task.view.division
            if read.value is None or read.interval is None:
                refused += 1
                print(f"{n:3d} {task.trap:20s} true {truth:7.2f}  {read.status}: "
                      f"{'; '.join(read.flags)}", flush=True)
                continue
            held = read.interval[0] <= truth <= read.interval[1]
            inside += held
            errors.append((read.value - truth) / division)
            naive.append(((read.naive_value or 0.0) - read.value
                          - eye_reading(task.view).error) / division)
            print(f"{n:3d} {task.trap:20s} true {truth:7.2f}  read {read.value:7.2f} "
                  f"[{read.interval[0]:.2f}, {read.interval[1]:.2f}]"
                  f"{'' if held else '  OUTSIDE'}  eye {task.view.sight_deg:+5.1f} read "
                  f"{read.elevation_deg or 0:+5.1f} deg  {made:.1f} s", flush=True)
    size = np.abs(errors)
    print(f"{count} pictures, seed {seed}: {refused} refused; of {len(errors)} read, {inside} "
          f"intervals hold the truth; mean size of the error {size.mean():.2f}, 95th percentile "
          f"{np.percentile(size, 95):.2f}, largest {size.max():.2f} divisions; naive errors of "
          f"reader and lesson differ by {np.abs(naive).mean():.2f} divisions on average")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))

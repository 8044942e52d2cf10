"""How often a live picture is looked at, and how long a look takes: ``python -m app.readers.live``.

Frames of drawn chambers go through a worker one after the other, as the page's camera sends
them.  Prints one JSON object and ends with 1 where a core makes fewer than ``LEAST_PER_S``.
"""

from __future__ import annotations

import json
import statistics
import sys
import time

from app.readers.job import Job
from app.readers.pool import Pool
from vision.imaging.aim import LIVE_SIDE_PX
from vision.synthetic.chamber.dataset import scene_for
from vision.synthetic.chamber.render import render_scene
from vision.volume.aim import aim_at_chamber

#: Slower than this, the hand runs ahead of what it is told (our choice).
LEAST_PER_S = 3.0
_TIERS = ("easy", "typical", "hard")


def measure_live(scenes: int = 6, repeats: int = 4, seed: int = 17) -> dict[str, float]:
    """Looks that one processor core makes in a second (``per_core_s``, its own time, so that
    whatever else the machine does cancels), and how long a look through a worker took, ms."""
    import cv2

    jobs, own = [], []
    for n in range(scenes):
        scene = scene_for(seed, n, _TIERS[n % 3], None, (LIVE_SIDE_PX * 3 // 4, LIVE_SIDE_PX))
        bgr = cv2.cvtColor(render_scene(scene), cv2.COLOR_RGB2BGR)
        frame = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 70])[1].tobytes()
        aim_at_chamber(frame, scene.scale)  # warm
        start = time.process_time()
        aim_at_chamber(frame, scene.scale)
        own.append(time.process_time() - start)
        job = Job.of(aim_at_chamber, (frame, scene.scale), {})
        assert job is not None
        jobs.append(job)
    pool = Pool(1)
    try:
        found = [pool.submit(job).outcome.result().result.found for job in jobs]  # warm
        took = []
        for job in jobs * repeats:
            start = time.perf_counter()
            pool.submit(job).outcome.result()
            took.append(1000 * (time.perf_counter() - start))
    finally:
        pool.close()
    return {"scenes": scenes, "found": sum(found), "per_core_s": 1 / statistics.mean(own),
            "median_ms": statistics.median(took), "p95_ms": statistics.quantiles(took, n=20)[-1]}


if __name__ == "__main__":
    measured = measure_live()
    sys.stdout.write(json.dumps({k: round(v, 1) for k, v in measured.items()}) + "\n")
    sys.exit(0 if measured["per_core_s"] >= LEAST_PER_S else 1)

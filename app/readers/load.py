"""Many sessions at once: how long each waits for its reading, against reading alone.

Run ``python -m app.readers.load [--sessions 20]``: it prints one JSON object and ends
with 1 where the slow ones (95 %) wait longer than they may.  Alone and together are
measured in one run, in turns, so that the machine cancels.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import threading
import time
from dataclasses import asdict, dataclass

from app.readers.job import Job
from app.readers.pool import Pool
from vision.accuracy.speed import twelve_megapixel_jpeg
from vision.imaging.photo import Photo, load_photo
from vision.scale_file.scale import Scale, load_scale
from vision.synthetic.chamber.dataset import scene_for
from vision.volume.read import read_volume

#: So many times the readings of all sessions, shared out to the cores, the slow ones may wait.
MOST_TIMES = 2.2


@dataclass(frozen=True)
class Load:
    """What was measured, in seconds.  ``allowed_s`` is ``MOST_TIMES`` times ``sessions`` times
    ``alone_s`` over ``workers``; ``p95_s`` is the 95th percentile of the waits."""

    sessions: int
    workers: int
    status: str
    alone_s: float
    median_s: float
    p95_s: float
    slowest_s: float
    allowed_s: float

    @property
    def met(self) -> bool:
        """True when no more than one in twenty waits longer than it may."""
        return self.p95_s <= self.allowed_s


def measure_load(photo: Photo, scale: Scale, sessions: int, workers: int | None = None,
                 alone: int = 5) -> Load:
    """``sessions`` threads ask for the same reading at the same moment.

    ``alone`` readings are made one by one before and as many afterwards; their median counts.
    """
    pool = Pool(workers)
    job = Job.of(read_volume, (photo, scale), {})
    assert job is not None

    def wait() -> float:
        start = time.perf_counter()
        pool.submit(job).outcome.result()
        return time.perf_counter() - start

    def together(count: int) -> list[float]:
        waits: list[float] = []
        at_once = threading.Barrier(count)

        def session() -> None:
            at_once.wait()
            waits.append(wait())

        threads = [threading.Thread(target=session) for _ in range(count)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return sorted(waits)

    try:
        status = pool.submit(job).outcome.result().result.status
        together(2 * pool.count)  # every process has loaded what it needs
        before = [wait() for _ in range(alone)]
        waits = together(sessions)
        single = statistics.median([*before, *(wait() for _ in range(alone))])
    finally:
        pool.close()
    p95 = statistics.quantiles(waits, n=20, method="inclusive")[-1]
    return Load(sessions, pool.count, status, single, statistics.median(waits), p95, waits[-1],
                MOST_TIMES * sessions * single / pool.count)


def main(argv: list[str] | None = None) -> int:
    """Print one JSON object; 1 when the slow ones wait too long."""
    parser = argparse.ArgumentParser(prog="python -m app.readers.load", description=__doc__)
    parser.add_argument("--sessions", type=int, default=20)
    parser.add_argument("--workers", type=int, help="processes (default: one for every core)")
    args = parser.parse_args(argv)
    load = measure_load(load_photo(twelve_megapixel_jpeg()),
                        load_scale(scene_for(12, 0, "easy").scale.name), args.sessions,
                        args.workers)
    sys.stdout.write(json.dumps({**asdict(load), "met": load.met}, indent=1) + "\n")
    return 0 if load.met else 1


if __name__ == "__main__":
    sys.exit(main())

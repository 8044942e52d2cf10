"""Images per second of a set, as a ratio to plainly decoding the same files the same way.

Run ``python -m vision.accuracy.throughput LABELS.jsonl [--workers N]``.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path

from vision.accuracy.engines import engine_for
from vision.accuracy.labels import Label, read_labels
from vision.accuracy.measure import measure, one_thread
from vision.errors import CountersightError, InputError

#: Results per worker before the clock starts: processes and networks are loaded by then.
_WARM = 2
#: Decoding is quick: so many rounds of it are timed, that a moment's load does not count.
_ROUNDS = 5


@dataclass(frozen=True)
class Throughput:
    """``images`` timed with ``workers`` processes; rates in images per second.
    ``times_decode`` is how many plain decodes one reading takes."""

    images: int
    workers: int
    read_per_second: float
    decoded_per_second: float
    times_decode: float


def decode(label: Label) -> bool:
    """Decode the whole picture with OpenCV and do nothing else."""
    one_thread()
    import cv2

    return cv2.imread(str(label.path), cv2.IMREAD_COLOR) is not None


def measure_throughput(labels: str | Path, workers: int = 1, images: int = 100,
                       read: Callable[[Label], object] = measure) -> Throughput:
    """Time the first ``images`` pictures of a set, read and decoded by the same engine."""
    wanted = list(islice(read_labels(labels), images))
    if not wanted:
        raise InputError(f"The label file '{labels}' holds no image.")
    if not all(decode(label) for label in wanted):
        raise InputError("Not every picture of the set can be decoded.")
    reading = _rate(read, wanted, workers)
    decoding = _rate(decode, wanted * _ROUNDS, workers)
    return Throughput(len(wanted), workers, reading, decoding, decoding / reading)


def _rate(work: Callable[[Label], object], labels: list[Label], workers: int) -> float:
    """Results per second once every worker is warm."""
    warm = _WARM * workers
    tasks: Iterable[Label] = (labels[k % len(labels)] for k in range(warm + len(labels)))
    start = 0.0
    for done, _ in enumerate(engine_for(workers, None).map(work, tasks, _failed), start=1):
        if done == warm:
            start = time.perf_counter()
    return len(labels) / (time.perf_counter() - start)


def _failed(label: Label, why: str) -> object:
    return why


def main(argv: list[str] | None = None) -> int:
    """Print one JSON object."""
    parser = argparse.ArgumentParser(prog="python -m vision.accuracy.throughput",
                                     description=__doc__)
    parser.add_argument("labels", metavar="LABELS.jsonl")
    parser.add_argument("--workers", type=int, default=1, metavar="N")
    parser.add_argument("--images", type=int, default=100, metavar="N",
                        help="at most so many (default 100)")
    args = parser.parse_args(argv)
    try:
        found = measure_throughput(args.labels, args.workers, args.images)
    except CountersightError as err:
        sys.stderr.write(f"{err}\n")
        return 2
    sys.stdout.write(json.dumps(asdict(found), indent=1) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())

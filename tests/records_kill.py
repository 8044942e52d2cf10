"""Kill a writing station again and again; count what was confirmed and what is on record.

``python tests/records_kill.py 200`` prints the figures; the suite runs a short version.
"""

from __future__ import annotations

import contextlib
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from app.records import Store  # noqa: E402

WORKER = Path(__file__).with_name("records_worker.py")


@dataclass(frozen=True)
class Figures:
    """What a run of kills came to."""

    kills: int
    confirmed: int
    on_record: int
    lost: int
    doubled: int
    broken: int
    unfinished_kept: int


def kill_in_a_loop(where: str, kills: int, seed: int, at_once: int = 3) -> Figures:
    """Start stations, kill -9 one at a random moment, check the chain, start anew."""
    rng = random.Random(seed)
    confirmed: list[str] = []
    broken = done = 0
    store = Store.open(where)
    while done < kills:
        group = [subprocess.Popen([sys.executable, str(WORKER), where, f"s{done}-{i}"],
                                  stdout=subprocess.PIPE, text=True) for i in range(at_once)]
        for process in group:  # all of them are writing before the first is killed
            assert process.stdout is not None
            confirmed.append(process.stdout.readline().strip())
        for process in group:
            time.sleep(rng.uniform(0, 0.02))
            process.kill()
            done += 1
        for process in group:
            with contextlib.closing(process.stdout) as out:
                lines = out.read().split("\n")
            confirmed += lines[:-1]  # what follows the last newline was cut off by the kill
            process.wait()
        broken += not store.verify().ok
    keys = [e.key for e in store.entries()]
    return Figures(kills=done, confirmed=len(confirmed), on_record=len(keys),
                   lost=len(set(confirmed) - set(keys)), doubled=len(keys) - len(set(keys)),
                   broken=broken, unfinished_kept=len(set(keys) - set(confirmed)))


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    target = sys.argv[2] if len(sys.argv) > 2 else tempfile.mkdtemp()
    print(kill_in_a_loop(target, count, seed=20260302))

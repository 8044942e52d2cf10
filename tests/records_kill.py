"""Kill a writing station again and again; count what was confirmed and what is on record.

``python tests/records_kill.py 200`` prints the figures; the suite runs a short version.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent.parent)]
if __name__ == "__main__":  # not with the key of the user who runs it
    os.environ.setdefault("COUNTERSIGHT_KEY", f"{tempfile.mkdtemp()}/station.key")

from records_help import BED, BY  # noqa: E402

from app.records import EventDraft, Store, confirm  # noqa: E402

#: How many entries each station has confirmed, at least and at most, when the time that it has
#: left begins to count: however slow a machine is, so many are there to be lost.
ENTRIES_BEFORE = 2, 3


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


def station(where: str, name: str, said: int) -> None:
    """Confirm without end; write each form key to ``said`` after the store said that it is
    on record, so that nothing written there may be missing."""
    store, n = Store.open(where), 0
    while True:
        key = f"{name}-{n}"
        store.add(confirm(EventDraft("bag-changed"), by=BY, bed=BED, key=key))
        os.write(said, f"{key}\n".encode())
        n += 1


def kill_in_a_loop(where: str, kills: int, seed: int, at_once: int = 3) -> Figures:
    """Start stations, kill -9 each at a random moment, check the chain, start anew.

    Forks, so it wants a process without threads: see :func:`figures_of`.
    """
    fork, rng = multiprocessing.get_context("fork"), random.Random(seed)
    confirmed: list[str] = []
    broken = done = 0
    store = Store.open(where)
    while done < kills:
        group = []
        for i in range(at_once):
            reads, writes = os.pipe()
            process = fork.Process(target=station, args=(where, f"s{done}-{i}", writes))
            process.start()
            os.close(writes)
            group.append((process, os.fdopen(reads)))
        for _, out in group:  # all of them are writing before the first is killed
            confirmed += [out.readline().strip() for _ in range(rng.randint(*ENTRIES_BEFORE))]
        for process, _ in group:
            time.sleep(rng.uniform(0, 0.05))
            process.kill()
            done += 1
        for process, out in group:
            process.join()
            assert process.exitcode == -9
            with out:
                confirmed += out.read().split("\n")[:-1]  # whole lines only
        broken += not store.verify().ok
    keys = [e.key for e in store.entries()]
    return Figures(kills=done, confirmed=len(confirmed), on_record=len(keys),
                   lost=len(set(confirmed) - set(keys)), doubled=len(keys) - len(set(keys)),
                   broken=broken, unfinished_kept=len(set(keys) - set(confirmed)))


def figures_of(where: str, kills: int, seed: int, at_once: int) -> Figures:
    """:func:`kill_in_a_loop` in a process of its own."""
    done = subprocess.run([sys.executable, __file__, str(kills), where, str(seed), str(at_once)],
                          capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stderr
    return Figures(**json.loads(done.stdout))


if __name__ == "__main__":
    count, target, first_seed, together = (
        sys.argv[1:] + ["200", tempfile.mkdtemp(), "20260302", "3"][len(sys.argv) - 1:])[:4]
    print(json.dumps(asdict(kill_in_a_loop(target, int(count), int(first_seed), int(together)))))

"""A program that is killed leaves no worker behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PROGRAM = """
import os, sys, time
sys.path.insert(0, {root!r})
from vision.accuracy.engines import Pool

if __name__ == "__main__":
    pool = Pool(2)._new(2)
    print(*{{pool.submit(os.getpid).result() for _ in range(2)}}, flush=True)
    pool.submit(time.sleep, 600)
    pool.submit(time.sleep, 600)
    pool.submit(time.sleep, 600)
    time.sleep(0.5)
    print(*pool._processes, flush=True)
    time.sleep(600)
"""


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    # What has ended and was not yet asked after by anybody is no worker any more.
    return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="asks /proc who is alive")
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_workers_end_with_a_parent_that_is_killed(how, tmp_path):
    script = tmp_path / "program.py"
    script.write_text(PROGRAM.format(root=str(Path(__file__).resolve().parents[1])))
    with subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True) as run:
        run.stdout.readline()
        workers = [int(pid) for pid in run.stdout.readline().split()]
        assert len(workers) == 2 and all(map(alive, workers))
        run.send_signal(how)
        run.wait()
    until = time.monotonic() + 60
    try:
        while any(map(alive, workers)):
            assert time.monotonic() < until, "a worker lives on"
            time.sleep(0.1)
    finally:
        for pid in filter(alive, workers):
            os.kill(pid, signal.SIGKILL)


@pytest.mark.slow
def test_a_worker_keeps_to_one_thread_of_linear_algebra(tmp_path):
    """Two on two cores would else be four that wait for one another; the one beside its own
    watches the parent.  The program is one of its own: what pytest has loaded is loaded there."""
    program = tmp_path / "program.py"
    program.write_text(f"""
import os, sys
sys.path.insert(0, {str(Path(__file__).parents[1])!r})


def threads(_):
    import numpy as np
    np.ones((500, 500), np.float32) @ np.ones((500, 500), np.float32)
    return len(os.listdir("/proc/self/task"))


if __name__ == "__main__":
    from vision.accuracy.engines import Pool
    print(*Pool(2).map(threads, range(2), lambda task, said: said))
""")
    clean = {k: v for k, v in os.environ.items() if not k.endswith("_NUM_THREADS")}
    said = subprocess.run([sys.executable, str(program)], env=clean, capture_output=True, text=True,
                          timeout=120, check=True)
    assert said.stdout.split() == ["2", "2"]

"""How a class of sixty loads the server: how long a phone waits, beside an empty answer's time.

``python docs/measure_class.py [LEARNERS]`` serves the pages, opens a class, lets every learner load
the page and its picture, ask every two seconds as the page does, and answer, and prints how long
answers took.  The ratio to the server's smallest answer, measured in the same run, does not hang
on the machine.
"""

from __future__ import annotations

import json
import os
import secrets
import sys
import tempfile
import threading
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "browser"))

import numpy as np
from serving import serve_pages

ROOT = Path(__file__).resolve().parents[1]
TASKS, SECONDS_A_TASK, ASKS_EVERY_S = 3, 12.0, 2.0


class Learner(threading.Thread):
    """One phone; ``waits_s`` by what was asked for."""

    def __init__(self, base: str, start: float) -> None:
        super().__init__(daemon=True)
        self.base, self.start_s, self.name_ = base, start, secrets.token_hex(16)
        self.waits_s: dict[str, list[float]] = {}
        self.failed = 0

    def ask(self, what: str, url: str, body: dict[str, object] | None = None) -> bytes:
        """One request; the time it took is noted."""
        data = None if body is None else json.dumps(body).encode()
        begun = time.perf_counter()
        try:
            with urllib.request.urlopen(urllib.request.Request(
                    url, data, {"Content-Type": "application/json"}), timeout=30) as answer:
                found: bytes = answer.read()
        except OSError:
            self.failed += 1
            return b"{}"
        self.waits_s.setdefault(what, []).append(time.perf_counter() - begun)
        return found

    def run(self) -> None:
        time.sleep(self.start_s)
        self.ask("page", self.base)
        self.ask("script", self.base.rsplit("/", 1)[0] + "/learner.js")
        task, answer_at = -1, 0.0
        while True:
            now = json.loads(self.ask("state", f"{self.base}/state?learner={self.name_}"))
            if now.get("over"):
                return
            if now.get("task", task) != task:
                task = now["task"]
                self.ask("picture", self.base.split("/class")[0] + now["picture"])
                answer_at = time.monotonic() + 6.0 * secrets.randbelow(1000) / 1000
            elif now.get("yours") is None and not now.get("shown") and (
                    time.monotonic() > answer_at):
                self.ask("answer", f"{self.base}/answer", {
                    "task": task, "learner": self.name_, "value": 20 + secrets.randbelow(30)})
            time.sleep(ASKS_EVERY_S)


def served_cpu_s(pid: int) -> float:
    """Processor time of the server's process so far."""
    parts = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def main(learners: int = 60) -> None:
    """Serve, let the class run, print."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        os.environ |= {"COUNTERSIGHT_DATA": str(data), "COUNTERSIGHT_KEY": f"{folder}/station.key"}
        with contextmanager(serve_pages)(data) as served:
            url = served.url
            from app.classroom.store import class_store

            store = class_store()
            state, key = store.open_class("parallax", TASKS, 2026)
            smallest = Learner(f"{url}/class/{state.code}", 0.0)
            for _ in range(30):
                smallest.ask("smallest", f"{url}/_stcore/health")
            class_ = [Learner(f"{url}/class/{state.code}", 0.05 * k) for k in range(learners)]
            cpu, begun = served_cpu_s(served.pid), time.monotonic()
            for learner in class_:
                learner.start()
            for _ in range(TASKS):
                time.sleep(SECONDS_A_TASK)
                store.show(state.code, key)
                time.sleep(3.0)
                store.go_on(state.code, key)
            for learner in class_:
                learner.join(20)
            wall, cpu = time.monotonic() - begun, served_cpu_s(served.pid) - cpu
            kept = len(store.answers(state.code))
            store.end(state.code, key)
    base = float(np.median(smallest.waits_s["smallest"]))
    print(f"{learners} learners, {TASKS} tasks, {kept} of {learners * TASKS} answers kept, "
          f"{sum(x.failed for x in class_)} requests failed; load {os.getloadavg()[0]:.1f} on "
          f"{os.cpu_count()} processors")
    print(f"server: {cpu:.1f} s of processor in {wall:.0f} s ({100 * cpu / wall:.0f} % of one)")
    print(f"smallest answer of the server: median {1000 * base:.1f} ms")
    for what in ("page", "script", "picture", "state", "answer"):
        waits = np.array([w for x in class_ for w in x.waits_s.get(what, [])])
        print(f"{what:8s} {len(waits):5d} times, median {1000 * np.median(waits):6.0f} ms, "
              f"95 % within {1000 * np.percentile(waits, 95):6.0f} ms, longest "
              f"{1000 * waits.max():6.0f} ms; median {np.median(waits) / base:.0f} times the "
              "smallest")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))

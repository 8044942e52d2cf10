"""How a class of sixty loads the server: how long a phone waits, beside an empty answer's time.

Serves the pages, opens a class, lets every learner load the page and its picture, ask every two
seconds as the page does, and answer.  The ratio to the server's smallest answer, measured in the
same run, does not hang on the machine.
"""

from __future__ import annotations

import json
import os
import secrets
import tempfile
import threading
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from serving import serve_pages

LEARNERS, TASKS, SECONDS_A_TASK, ASKS_EVERY_S = 60, 3, 12.0, 2.0


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


def measure() -> dict[str, Any]:
    """Serve, let the class run."""
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
            class_ = [Learner(f"{url}/class/{state.code}", 0.05 * k) for k in range(LEARNERS)]
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
    waits = {what: np.array([w for x in class_ for w in x.waits_s.get(what, [])])
             for what in ("page", "script", "picture", "state", "answer")}
    return {
        "seed": 2026, "count": LEARNERS, "tasks": TASKS, "kept": kept,
        "failed": sum(x.failed for x in class_), "cpu_share": round(cpu / wall, 3),
        "smallest_s": round(float(np.median(smallest.waits_s["smallest"])), 4),
        "waits_s": {what: {"count": len(w), "median": round(float(np.median(w)), 3),
                           "p95": round(float(np.percentile(w, 95)), 3)}
                    for what, w in waits.items()}}


def texts(kept: dict[str, Any]) -> dict[str, str]:
    """The sentences of the educator's page."""
    waits = kept["waits_s"]
    return {"class-load": (
        f"{kept['count']} learners took part in a class of {kept['tasks']} tasks, on "
        f"{kept['processors']} processors at a load of {kept['load']:.0f}: {kept['kept']} of "
        f"{kept['count'] * kept['tasks']} answers were kept, {100 * kept['cpu_share']:.0f} % of "
        "one processor was used, half of the pictures were there within "
        f"{waits['picture']['median']:.1f} s and 95 % of the answers within "
        f"{waits['answer']['p95']:.1f} s. The class goes on after "
        f"{SECONDS_A_TASK:.0f} s whoever has answered, and what comes after the truth was shown "
        "counts no more.")}

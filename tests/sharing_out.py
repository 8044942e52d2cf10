"""Which worker begins with which tests, where several run them (pytest-xdist)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from xdist.scheduler import WorkStealingScheduling


def drivers(workers: int) -> int:
    """How many of the workers, the first ones, drive a browser before they do anything else."""
    return 2 if workers > 2 else 1


def browser_shares(names: Sequence[str], workers: int) -> list[int]:
    """How many tests each of those workers begins with: what drives a browser, in whole files."""
    files = [name.split("::")[0] for name in names if name.startswith("tests/browser/")]
    if not files or workers == 1:
        return []
    half = next((i for i in range(len(files) // 2, len(files)) if files[i] != files[i - 1]),
                len(files)) if drivers(workers) == 2 else len(files)
    return [n for n in (half, len(files) - half) if n]


class BrowserFirst(WorkStealingScheduling):
    """Each worker goes through neighbouring tests, which share what a module makes once (scenes
    drawn and read, a record, a server), and in the end takes over what another has left."""

    shares: list[int] = []

    def schedule(self) -> None:
        """Begin, or go on after a worker was lost."""
        if self.collection is None:  # nothing is given out yet
            self.node2pending = dict(sorted(self.node2pending.items(), key=lambda node: int(
                node[0].gateway.id.removeprefix("gw"))))
            self.shares = browser_shares(next(iter(self.node2collection.values())),
                                         len(self.node2pending))
        super().schedule()

    def _send_tests(self, node: Any, num: int) -> None:
        super()._send_tests(node, self.shares.pop(0) if self.shares else num)

"""Which worker begins with which tests, where several run them (pytest-xdist)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from xdist.scheduler import WorkStealingScheduling


def first_share(names: Sequence[str], workers: int) -> int | None:
    """How many tests the first worker begins with: what drives a browser; None where there is
    nothing to set apart."""
    driving = sum(name.startswith("tests/browser/") for name in names)
    return driving if workers > 1 and 0 < driving < len(names) else None


class BrowserFirst(WorkStealingScheduling):
    """The first worker drives the browser, the others share the rest.  Each goes through
    neighbouring tests, which share what a module makes once (scenes drawn and read, a record, a
    server), and in the end takes over what another has left."""

    first: int | None = None

    def schedule(self) -> None:
        """Begin, or go on after a worker was lost."""
        if self.collection is None:  # nothing is given out yet
            self.node2pending = dict(sorted(self.node2pending.items(), key=lambda node: int(
                node[0].gateway.id.removeprefix("gw"))))
            self.first = first_share(next(iter(self.node2collection.values())),
                                     len(self.node2pending))
        super().schedule()

    def _send_tests(self, node: Any, num: int) -> None:
        share, self.first = self.first, None
        super()._send_tests(node, num if share is None else share)

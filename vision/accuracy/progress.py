"""A progress line on standard error."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

Progress = Callable[[int, int], None]


def bar(done: int, total: int, seconds: float, start: int = 0, width: int = 24) -> str:
    """The line: bar, count, images per second, time left."""
    full = width if total == 0 else width * done // total
    speed = (done - start) / seconds if seconds > 0 else 0.0
    left = f", {(total - done) / speed:.0f} s left" if speed > 0 and done < total else ""
    return f"[{'#' * full}{'.' * (width - full)}] {done} of {total}, {speed:.1f} images/s{left}"


def on_standard_error(start: int = 0) -> Progress:
    """A callback that keeps one line up to date, at most four times a second."""
    began = time.monotonic()
    last = 0.0

    def show(done: int, total: int) -> None:
        nonlocal last
        now = time.monotonic()
        if done < total and now - last < 0.25:
            return
        last = now
        sys.stderr.write("\r" + bar(done, total, now - began, start).ljust(78))
        sys.stderr.write("\n" if done >= total else "")
        sys.stderr.flush()

    return show

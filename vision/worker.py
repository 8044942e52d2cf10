"""Worker processes that end with the program that started them, however that one ended."""

from __future__ import annotations

import multiprocessing
import os
import threading


def end_with_parent() -> None:
    """Initializer of a process pool: watch the parent, and end at once when it is gone.

    A pool's worker waits on a queue whose other end its siblings hold too, so it would live on
    after a parent that was killed.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True, name="parent watch").start()

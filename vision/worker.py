"""Worker processes: they end with the program that started them, and keep to one thread each."""

from __future__ import annotations

import multiprocessing
import os
import threading
from multiprocessing.context import SpawnContext, SpawnProcess

#: What the libraries of linear algebra ask, when they are loaded, for how many threads to start.
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


class _Process(SpawnProcess):
    def start(self) -> None:
        """Start with one thread each, and leave this program's own environment as it was."""
        before = {name: os.environ.get(name) for name in _THREADS}
        os.environ.update(dict.fromkeys(_THREADS, "1"))
        try:
            super().start()
        finally:
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value


class OneThreadEach(SpawnContext):
    """Fresh processes (a forked copy of one that runs OpenCV's threads can hang) of one thread
    each: they are what is spread over the cores, and more threads stand in their way."""

    Process = _Process


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

"""Where the images are read: in this process, in a pool, or on a Dask scheduler.

All three give the results in the order of the tasks and hold no more than a
short window of them, so memory does not grow with the set.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Protocol, TypeVar

from vision.errors import InputError
from vision.worker import OneThreadEach, end_with_parent

Task = TypeVar("Task")
Result = TypeVar("Result")

#: Tasks handed out ahead of the oldest unfinished one, per worker.
_AHEAD = 4
_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://[\w.:\[\]-]{1,255}:\d{1,5}", re.ASCII)
#: More processes than any machine has cores are a slip of the hand.
MOST_WORKERS = 1024


class Engine(Protocol):
    """Applies a function to a stream of tasks and yields the results in order."""

    def map(self, function: Callable[[Task], Result], tasks: Iterable[Task],
            failed: Callable[[Task, str], Result]) -> Iterator[Result]:
        """``failed(task, why)`` makes the result of a task whose worker was lost."""


class Here:
    """One after the other in this process."""

    def map(self, function: Callable[[Task], Result], tasks: Iterable[Task],
            failed: Callable[[Task, str], Result]) -> Iterator[Result]:
        """See ``Engine``."""
        return map(function, tasks)


class Pool:
    """A pool of processes on this machine, replaced when a worker dies."""

    def __init__(self, workers: int) -> None:
        self._workers = workers

    def _new(self, workers: int) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(workers, mp_context=OneThreadEach(),
                                   initializer=end_with_parent)

    def map(self, function: Callable[[Task], Result], tasks: Iterable[Task],
            failed: Callable[[Task, str], Result]) -> Iterator[Result]:
        """See ``Engine``.  A task that kills its worker is tried once more, alone."""
        stream = iter(tasks)
        waiting: deque[Task] = deque()
        while True:
            pool = self._new(self._workers)
            try:
                yield from _window(pool, function, stream, waiting, _AHEAD * self._workers)
                return
            except BrokenProcessPool:
                pass
            finally:
                pool.shutdown(wait=False, cancel_futures=True)
            # Any of the waiting tasks may be the one that killed its worker.
            for task in list(waiting):
                yield self._alone(function, task, failed)
                waiting.popleft()

    def _alone(self, function: Callable[[Task], Result], task: Task,
               failed: Callable[[Task, str], Result]) -> Result:
        with self._new(1) as pool:
            try:
                return pool.submit(function, task).result()
            except BrokenProcessPool:
                return failed(task, "The process that read this image was killed.")


class Distributed:
    """The workers of a running Dask scheduler (the optional extra ``distributed``)."""

    def __init__(self, address: str) -> None:
        if not _ADDRESS.fullmatch(address):
            raise InputError("A scheduler's address looks like tcp://127.0.0.1:8786, not"
                             f" '{address}'.")
        try:
            from distributed import Client
        except ImportError:
            raise InputError("A scheduler address needs the optional extra: "
                             "pip install -e '.[distributed]'") from None
        try:
            self._client = Client(address, timeout="15s", set_as_default=False)
        except (OSError, ValueError, TimeoutError):
            raise InputError(f"No Dask scheduler answers at '{address}'.") from None

    def map(self, function: Callable[[Task], Result], tasks: Iterable[Task],
            failed: Callable[[Task, str], Result]) -> Iterator[Result]:
        """See ``Engine``.  The pictures must lie at the same paths for every worker."""
        from distributed import KilledWorker

        workers = sum(self._client.nthreads().values()) or 1
        try:
            with self._client.get_executor(pure=False) as pool:
                stream, waiting = iter(tasks), deque[Task]()
                while True:
                    try:
                        yield from _window(pool, function, stream, waiting, _AHEAD * workers)
                        return
                    except KilledWorker:
                        yield failed(waiting.popleft(), "The worker that read this image died.")
        finally:
            self._client.close()


def _window(pool: Executor, function: Callable[[Task], Result], stream: Iterator[Task],
            waiting: deque[Task], ahead: int) -> Iterator[Result]:
    """Results in order; ``waiting`` holds the tasks whose result was not yielded yet.

    Tasks already in ``waiting`` are handed out first.
    """
    futures: deque[Future[Result]] = deque(pool.submit(function, t) for t in waiting)
    while True:
        while len(futures) < ahead:
            try:
                task = next(stream)
            except StopIteration:
                break
            waiting.append(task)
            futures.append(pool.submit(function, task))
        if not futures:
            return
        result = futures.popleft().result()
        waiting.popleft()
        yield result


def engine_for(workers: int, scheduler: str | None) -> Engine:
    """The engine for a number of processes or a scheduler's address."""
    if scheduler is not None:
        return Distributed(scheduler)
    if not 1 <= workers <= MOST_WORKERS:
        raise InputError(f"The number of workers must be from 1 to {MOST_WORKERS}.")
    return Here() if workers == 1 else Pool(workers)

"""As many worker processes as there are cores; readings wait in one line for the next free one.

Threads would share one interpreter lock, and a decoder that falls over would take all
sessions along.  The workers are programs of their own rather than copies of the page
server, whose main module changes with every page drawn.
"""

from __future__ import annotations

import logging
import os
import pickle
import subprocess
import sys
import threading
import time
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

from app.readers.job import Job, Outcome
from vision.errors import ReadingLostError

#: Longest reading: a photo of 50 megapixels that is refused takes some 25 s alone (our choice).
LONGEST_S = 120.0
_HOUSE = Path(__file__).resolve().parents[2]
_log = logging.getLogger("countersight")

_LOST = "This photo could not be read to its end; take it again, closer and in better light."
_TOO_LONG = "This photo takes too long to read; take it again, closer and with less around it."


def cores() -> int:
    """How many processes of this one may run side by side."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class _Worker:
    """A worker process, started when it is first needed and again after it has ended."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        #: Whether its process has answered before: the first answer waits for its libraries.
        self.warm = False

    def do(self, job: Job) -> Outcome:
        """The outcome; EOFError or OSError when the process ends instead."""
        if self._process is None or self._process.poll() is not None:
            self._process, self.warm = _started(), False
        process = self._process
        assert process.stdin is not None and process.stdout is not None
        pickle.dump(job, process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
        process.stdin.flush()
        found = pickle.load(process.stdout)
        assert isinstance(found, Outcome)
        self.warm = True
        return found

    def end(self) -> None:
        """End the process in the middle of whatever it does."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()


def _started() -> subprocess.Popen[bytes]:
    # One thread each: the cores are shared out by processes.
    alone = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS",
                                    "OPENCV_FOR_THREADS_NUM")}
    path = os.pathsep.join(p for p in (str(_HOUSE), os.environ.get("PYTHONPATH", "")) if p)
    return subprocess.Popen(
        [sys.executable, "-m", "app.readers.worker"], stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, env={**os.environ, **alone, "PYTHONPATH": path})


class Ticket:
    """A reading that was asked for: its place in line, then its outcome."""

    def __init__(self, pool: Pool, job: Job) -> None:
        self._pool, self.job = pool, job
        self.worker: _Worker | None = None
        self.began_s: float | None = None
        self.outcome: Future[Outcome] = Future()

    def before(self) -> int | None:
        """How many readings begin before this one; None once it has begun."""
        return self._pool.before(self)

    def done(self, wait_s: float) -> bool:
        """Whether it is done within so many seconds.  Ends a reading that takes too long."""
        try:
            self.outcome.exception(wait_s)
        except TimeoutError:
            if self.began_s is not None and time.monotonic() - self.began_s > LONGEST_S:
                self._pool.settle(self, ReadingLostError(_TOO_LONG))
        return self.outcome.done()

    @property
    def cold(self) -> bool:
        """Whether its worker is still at its first answer."""
        worker = self.worker
        return worker is not None and not worker.warm

    def give_up(self) -> None:
        """Nobody waits for it any more: its place, or its worker, is free for the next."""
        self._pool.settle(self, ReadingLostError(_LOST))

    def result(self) -> Any:
        """What the function returned.  Raises its error, or ReadingLostError."""
        found = self.outcome.result()
        if found.error is not None:
            raise found.error
        if found.unforeseen:
            _log.error("unforeseen failure of a reader: %s", found.unforeseen)
            raise RuntimeError("in a worker")
        return found.result


class Pool:
    """The workers and the line before them.  ``count`` of them, or one for every core."""

    def __init__(self, count: int | None = None) -> None:
        self.count = count or cores()
        self._lock = threading.Lock()
        self._line: list[Ticket] = []
        self._workers: list[_Worker] = []
        self._busy = 0
        self._of_thread = threading.local()
        # A thread to each worker; they take tickets in the order in which they came.
        self._threads = ThreadPoolExecutor(self.count, "reader")

    def submit(self, job: Job) -> Ticket:
        """Get in line."""
        ticket = Ticket(self, job)
        with self._lock:
            self._line.append(ticket)
        self._threads.submit(self._serve, ticket)
        return ticket

    def submit_if_free(self, job: Job) -> Ticket | None:
        """As :meth:`submit` where a worker is free at once, else None: for a look at a live
        picture, which must keep no reading waiting and is worth nothing later."""
        with self._lock:
            free = not self._line and self._busy < self.count
        return self.submit(job) if free else None

    def before(self, ticket: Ticket) -> int | None:
        """See :meth:`Ticket.before`."""
        with self._lock:
            return self._line.index(ticket) if ticket in self._line else None

    def settle(self, ticket: Ticket, outcome: Outcome | BaseException) -> None:
        """The outcome of a ticket, once; one that comes from outside ends what is under way."""
        with self._lock:
            if ticket.outcome.done():
                return
            if ticket in self._line:
                self._line.remove(ticket)
            if isinstance(outcome, BaseException):
                ticket.outcome.set_exception(outcome)
                if ticket.worker is not None:
                    ticket.worker.end()
            else:
                ticket.outcome.set_result(outcome)
            ticket.worker = None

    def close(self) -> None:
        """End every worker; what waits is lost."""
        self._threads.shutdown(wait=False, cancel_futures=True)
        for ticket in list(self._line):
            ticket.give_up()
        for worker in list(self._workers):
            worker.end()

    def _serve(self, ticket: Ticket) -> None:
        """In a thread of the pool: have this thread's worker do the ticket's job."""
        with self._lock:
            if ticket.outcome.done():
                return
            if not hasattr(self._of_thread, "worker"):
                self._of_thread.worker = _Worker()
                self._workers.append(self._of_thread.worker)
            self._line.remove(ticket)
            worker = ticket.worker = self._of_thread.worker
            self._busy += 1
            ticket.began_s = time.monotonic()
        try:
            self.settle(ticket, worker.do(ticket.job))
        except (OSError, EOFError, pickle.UnpicklingError):
            self.settle(ticket, ReadingLostError(_LOST))
        except BaseException as problem:  # something that cannot be handed to a process
            self.settle(ticket, problem)
        finally:
            with self._lock:
                self._busy -= 1


_running: list[Pool] = []


def start(count: int | None = None) -> Pool:
    """The pool of this process from now on."""
    pool = Pool(count)
    _running.append(pool)
    return pool


def running() -> Pool | None:
    """The pool of this process; None where nobody started one."""
    return _running[-1] if _running else None


def stop(pool: Pool) -> None:
    """End it."""
    _running.remove(pool)
    pool.close()

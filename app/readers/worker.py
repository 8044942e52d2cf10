"""A process that reads one photo after the other: ``python -m app.readers.worker``.

Jobs come in on standard input and outcomes go out on standard output, pickled; both ends
are ours.  It ends when its input does, or when nothing has come for a while.
"""

from __future__ import annotations

import importlib
import os
import pickle
import select
import traceback

from app.readers.job import Job, Outcome
from vision.errors import CountersightError

#: A worker that has had nothing to do for so long gives its memory back.
IDLE_S = 600.0
#: Address space of a worker, a last limit: a reading of the largest photo takes 1.5 GB of it,
#: most of it shared libraries that are mapped and never touched.
MOST_ADDRESS_BYTES = 4 * 1024 ** 3


def outcome(job: Job) -> Outcome:
    """Do the job; whatever happens is an outcome."""
    try:
        return Outcome(getattr(importlib.import_module(job.module), job.name)(
            *job.args, **job.options))
    except CountersightError as error:
        return Outcome(error=error)
    except Exception as problem:
        # Where, and not what: a message may hold what a person typed.
        lines = "".join(traceback.format_tb(problem.__traceback__))
        return Outcome(unforeseen=f"{type(problem).__qualname__}\n{lines}")


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # not on this system
        return
    _, most = resource.getrlimit(resource.RLIMIT_AS)
    here = MOST_ADDRESS_BYTES if most == resource.RLIM_INFINITY else min(most, MOST_ADDRESS_BYTES)
    resource.setrlimit(resource.RLIMIT_AS, (here, most))


def main() -> None:
    """Read jobs until there are no more."""
    _limit_memory()
    # What a library prints must not come between the outcomes.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    jobs = os.fdopen(os.dup(0), "rb")  # one job at a time: nothing is read ahead
    while True:
        if os.name == "posix" and not select.select([jobs], [], [], IDLE_S)[0]:
            return
        try:
            job = pickle.load(jobs)
        except EOFError:
            return
        pickle.dump(outcome(job), out, protocol=pickle.HIGHEST_PROTOCOL)
        out.flush()


if __name__ == "__main__":
    main()

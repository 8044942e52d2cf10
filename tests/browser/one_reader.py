"""The pages with one worker that is busy, and two readings in line, until a file is there.

``python one_reader.py FILE serve ...``
"""

from __future__ import annotations

import sys

from slow_readers import note, wait_for

from app.cli import main
from app.readers import pool
from app.readers.job import Job

GATE = sys.argv[1]


def start(count: int | None = None) -> pool.Pool:
    made = pool.Pool(1)
    pool._running.append(made)
    for function, args in ((wait_for, (GATE,)), (note, (f"{GATE}.line", "first")),
                           (note, (f"{GATE}.line", "second"))):
        made.submit(Job("slow_readers", function.__name__, args, {}))
    return made


pool.start = start
sys.exit(main(sys.argv[2:]))

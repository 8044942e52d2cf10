"""Stand-ins for the reader, importable by the processes of a pool."""

from __future__ import annotations

import os
import signal
import time

from vision.accuracy import measure as measuring
from vision.accuracy.labels import Label
from vision.accuracy.rows import Row


def exact(label: Label) -> Row:
    """Reads index/100 too much in a division of 1; an earlier image takes longer."""
    time.sleep(0.02 if label.index % 3 == 0 else 0.0)
    value = (label.truth or 0.0) + label.index / 100
    found = {"status": "read", "unit": "mL", "value": value, "division": 1.0,
             "misread_limit": 1.0, "interval": (value - 0.5, value + 0.5),
             "naive_value": value + 0.3, "elevation_deg": 1.0}
    return measuring.compare(label, found, 0.0)


def deadly(label: Label) -> Row:
    """Kills its own process on image 5, as a crash inside a library would."""
    if label.index == 5:
        os.kill(os.getpid(), signal.SIGKILL)
    return exact(label)

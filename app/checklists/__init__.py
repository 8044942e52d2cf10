"""The ward's own checklists: a readable file, strictly read, with a default set.

They remind; they never approve.  Nothing asks whether every line is ticked, and
no ticked list opens or closes anything.

File format (TOML), described in ``docs/checklists.md``::

    format = 1

    [[checklist]]
    name = "before-reading"
    title = "Before reading the chamber"
    [[checklist.line]]
    text = "The chamber hangs plumb and still."
    source = "common practice, no source"
    timer_s = [30, 60]        # optional: shortest and longest time in seconds
"""

from __future__ import annotations

from app.checklists.model import (
    NO_SOURCE,
    Checklist,
    ChecklistFileError,
    Line,
    Timer,
)
from app.checklists.reading import (
    WARD_FILE_NAME,
    default_checklists,
    load_checklists,
    ward_checklists,
)

__all__ = [
    "Checklist", "ChecklistFileError", "Line", "NO_SOURCE", "Timer", "WARD_FILE_NAME",
    "default_checklists", "load_checklists", "ward_checklists",
]

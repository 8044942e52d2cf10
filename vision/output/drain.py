"""Was the drain open?  From the confirmed events; nothing on record counts as open."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from vision.output.model import ChamberEvent


def open_hours(events: Sequence[ChamberEvent], start: datetime, end: datetime) -> float:
    """Hours between two moments in which the drain was not closed.

    ``events`` are sorted by time; all of them count, also those before ``start``.
    """
    opened, since, total = True, start, 0.0
    for event in events:
        if event.name not in ("drain-closed", "drain-opened"):
            continue
        if event.at >= end:
            break
        now_open = event.name == "drain-opened"
        if event.at <= start:
            opened = now_open
        elif opened and not now_open:
            total += (event.at - since).total_seconds()
            opened = False
        elif not opened and now_open:
            since, opened = event.at, True
    if opened and end > since:
        total += (end - since).total_seconds()
    return total / 3600


def is_open(events: Sequence[ChamberEvent], at: datetime) -> bool | None:
    """True or False as last confirmed up to ``at``; None when nothing is on record."""
    state = None
    for event in events:
        if event.at > at:
            break
        if event.name in ("drain-closed", "drain-opened"):
            state = event.name == "drain-opened"
        elif event.name == "drainage-ended":
            state = None
    return state

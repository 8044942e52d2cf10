"""The kinds of entry and the names of events, each defined once."""

from __future__ import annotations

from typing import Literal, get_args

Kind = Literal[
    "volume-reading", "level-check", "setting-check", "order", "event", "skipped-step",
    "correction", "withdrawal", "station-key",
]
EventName = Literal[
    "chamber-emptied", "bag-changed", "drain-closed", "drain-opened", "sample-taken",
    "position-changed",
]

KINDS: tuple[str, ...] = get_args(Kind)
#: Says with which key a station signs; made by the store itself, about no bed.
STATION_KEY = "station-key"
#: Stands in such an entry for the bed, and for the initials.
NO_BED = "*"
#: Kinds that say something of their own at a bed (the next two speak about an earlier entry).
SUBJECTS: tuple[str, ...] = KINDS[:6]
EVENTS: tuple[str, ...] = get_args(EventName)
#: What a machine can say of a photo: the statuses of the measuring side.
MACHINE_STATUSES: tuple[str, ...] = ("read", "refused", "below-scale", "above-scale")

#: Words for people; one place, so that pages, sheets and exports say the same.
WORDS: dict[str, str] = {
    "volume-reading": "chamber reading",
    "level-check": "level check",
    "setting-check": "setting check",
    "order": "order",
    "event": "event",
    "skipped-step": "step skipped",
    "correction": "correction",
    "withdrawal": "withdrawal",
    "station-key": "station key",
    "chamber-emptied": "chamber emptied",
    "bag-changed": "bag changed",
    "drain-closed": "drain closed",
    "drain-opened": "drain opened",
    # A state that was seen is not a change that was made.
    "drain-closed-seen": "drain seen closed",
    "drain-opened-seen": "drain seen open",
    "sample-taken": "sample taken",
    "position-changed": "position changed",
}

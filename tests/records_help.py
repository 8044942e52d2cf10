"""What the tests of the record share: an invented ward, drafts, a clock that stands still."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from app.records import (
    Attestations,
    BedCode,
    ConfirmedEntry,
    EventDraft,
    Initials,
    Moment,
    OwnReading,
    ReadingDraft,
    confirm,
)
from vision.reading import VolumeReading
from vision.scale import Scale, parse_scale

BED = BedCode("QUAY-3")
BY = Initials("M.K.")
YES = Attestations(True, True, True, True)
START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)

SCALE: Scale = parse_scale({
    "name": "pier-60", "unit": "mL", "direction": "up", "inner_diameter_mm": 30.0, "wall_mm": 1.5,
    "capacity": 60, "height_mm": [[0, 0.0], [60, 84.883]],
    "marks": [{"from": 0, "to": 60, "step": 1, "length": "short"},
              {"from": 0, "to": 60, "step": 5, "length": "long", "label": True}]})


def at(minutes: float, offset_min: int = 0) -> Moment:
    """A moment so many minutes after the start of the tests' day."""
    return Moment(START + timedelta(minutes=minutes), offset_min)


def clock(minutes: float, offset_min: int = 0) -> Callable[[], Moment]:
    """A clock that always says the same."""
    return lambda: at(minutes, offset_min)


def seen(value: float = 23.412, half: float = 0.5, **more: Any) -> VolumeReading:
    """What a machine might have seen."""
    return VolumeReading("read", "mL", 1.0, "pier-60", value=value,
                         interval=(value - half, value + half), **more)


def draft(first: str | None = "23.5", **more: Any) -> ReadingDraft:
    """A reading draft with a photo."""
    own = OwnReading.skipped() if first is None else OwnReading.read(first)
    return ReadingDraft.of(seen(**more), scale=SCALE, photo_sha256="ab" * 32, first=own)


def reading(value: str = "23.4", minutes: float = 0, **more: Any) -> ConfirmedEntry:
    """A confirmed reading, seen and confirmed at the same minute unless told otherwise."""
    options: dict[str, Any] = {"by": BY, "bed": BED, "confirmed_value": value,
                               "attestations": YES, "clock": clock(minutes)} | more
    return confirm(draft(), **options)


def happening(name: str, minutes: float = 0, bed: BedCode = BED, **more: Any) -> ConfirmedEntry:
    """A confirmed event."""
    return confirm(EventDraft(name, **more), by=BY, bed=bed, clock=clock(minutes))

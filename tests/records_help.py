"""What the tests of the record share: an invented ward, drafts, a clock that stands still."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from app.records import (
    Attestations,
    BedCode,
    ConfirmedEntry,
    ConfirmError,
    EventDraft,
    Initials,
    Moment,
    OwnReading,
    ReadingDraft,
    Store,
    confirm,
)
from app.records.canonical import FIRST_LINK
from app.records.chain import content_hash
from app.records.content import Entry, entry_from_row
from app.records.engine import database_url, make_engine, writing
from app.records.schema import unsigned_entry_table
from app.records.version import migrate
from vision.reading import VolumeReading
from vision.scale_file.scale import Scale, parse_scale

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


def confirm_some(args: tuple[str, int, int]) -> list[str]:
    """One process with several sessions; every session taps every form twice."""
    where, process, sessions = args
    store = Store.open(where, wait_seconds=60)
    start = threading.Barrier(sessions)

    def session(n: int) -> list[str]:
        start.wait()
        keys = []
        for k in range(2):
            key = f"{process}-{n}-{k}"
            confirmed = confirm(EventDraft("bag-changed"), by=BY, bed=BED, key=key)
            assert store.add(confirmed).number == store.add(confirmed).number
            keys.append(key)
        return keys

    with ThreadPoolExecutor(sessions) as pool:
        return [key for keys in pool.map(session, range(sessions)) for key in keys]


def row_of(store, **changes):
    """A well-linked next row as a determined outsider could write it."""
    row = reading().content.row()
    last = store.entries()[-1:] or None
    row["number"] = last[0].number + 1 if last else 1
    row["previous_hash"] = last[0].hash if last else FIRST_LINK
    row["key"] = f"k{row['number']}"
    row.update(changes)
    try:
        row["hash"] = changes.get("hash") or content_hash(row)
    except ConfirmError:  # infinity has no canonical text; the database must refuse it too
        row["hash"] = "0" * 64
    return row


def old_record(where: str | Path, form: str, count: int) -> list[Entry]:
    """A record as it was made before entries were signed, with so many readings."""
    engine = make_engine(database_url(where), wait_seconds=5)
    if engine.dialect.name == "sqlite":
        Path(str(engine.url.database)).parent.mkdir(exist_ok=True)
    rows, previous = [], FIRST_LINK
    with writing(engine) as connection:
        migrate(connection, form)
        for n in range(1, count + 1):
            row = reading(f"{n}", minutes=n, key=f"k{n}").content.row() | {
                "number": n, "previous_hash": previous}
            row["hash"] = previous = content_hash(row)
            connection.execute(insert(unsigned_entry_table).values(row))
            rows.append(row)
    return [entry_from_row(row) for row in rows]


def by_hand(store, *statements, guards=False):
    """What someone with the file and enough will can do: drop the guards, change, put back."""
    c = sqlite3.connect(store._engine.url.database)
    c.execute("PRAGMA ignore_check_constraints = ON")
    triggers = c.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        c.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        c.execute(*statement) if isinstance(statement, tuple) else c.execute(statement)
    if not guards:
        for _, sql in triggers:
            c.execute(sql)
    c.commit()
    c.close()


#: A photo that found the system to hang 4.6 cm too low, beyond doubt.
LOW = {"kind": "level", "status": "read", "offset_cm": -4.6, "interval_cm": [-5.4, -3.8],
       "decision": "raise", "action": "raise 4.6 cm", "flags": []}

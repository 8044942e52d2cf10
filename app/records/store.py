"""The store: confirmed entries in, entries out, nothing changed, nothing deleted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, insert, select, text

from app.records.canonical import FIRST_LINK
from app.records.chain import Verification, content_hash, walk
from app.records.codes import normal_bed
from app.records.confirmed import ConfirmedEntry, unsealed
from app.records.content import Content, Entry, entry_from_row
from app.records.engine import database_url, make_engine, prepared_place, reading, writing
from app.records.errors import (
    ClockDoubtError,
    KeyReusedError,
    NoSuchEntryError,
)
from app.records.moment import Moment
from app.records.picture import KeptPicture
from app.records.picture_table import (
    check_picture,
    keep_picture,
    kept_picture,
    pictures_checked,
)
from app.records.schema import GUARDS, entry_table, plain
from app.records.standing import Standing
from app.records.standing_query import of_bed, spellings, standing_now
from app.records.version import bring_up_to_date

#: How far this machine's clock may be behind the last entry before it is asked about:
#: the clocks of two stations differ a little (our choice).
CLOCK_SLACK = timedelta(minutes=2)
#: How far it may be ahead of the last entry: a drain is read more than once a day (our choice).
CLOCK_AHEAD = timedelta(days=1)

#: Any fixed number: writers on a server wait for each other on it.
WRITERS = 5_824_302

_RECORDED = ("recorded_utc", "recorded_offset_min", "software_version")


class Store:
    """The record.  Safe to use from several threads, processes and stations at once:
    every call opens its own short-lived connection."""

    def __init__(self, engine: Engine) -> None:
        """Use :meth:`open`."""
        self._engine = engine

    @classmethod
    def open(cls, where: str | Path, *, wait_seconds: float = 10.0, create: bool = True) -> Store:
        """Open or make the record at a data folder, an SQLite file or a database URL.

        ``wait_seconds`` is how long a write waits for other writers; ``create`` False
        refuses to make a new file, and then also opens a copy on a read-only medium
        for looking.  Raises a RecordError with a sentence when the
        place cannot be used.
        """
        url = prepared_place(database_url(where), create=create)
        engine = make_engine(url, wait_seconds=wait_seconds)
        bring_up_to_date(engine)
        return cls(engine)

    @property
    def place(self) -> str:
        """Where the record is, without any password."""
        return self._engine.url.render_as_string(hide_password=True)

    def add(self, confirmed: ConfirmedEntry, picture: KeptPicture | None = None) -> Entry:
        """Put a confirmed entry on record; on disk when this returns.

        ``picture`` is the one that the entry names, if it names one.

        The same form key twice gives the entry that is there already.  Raises
        NotConfirmedError for anything but the result of ``confirm``,
        KeyReusedError, AlreadySupersededError, ClockDoubtError, or the error of
        the database in a sentence; then nothing was recorded.
        """
        content = unsealed(confirmed)
        check_picture(content, picture)
        row = content.row()
        with writing(self._engine) as connection:
            if self._engine.dialect.name == "postgresql":
                # Writers take turns, readers are not held up.  A table lock would need
                # rights to change entries, which a station should not have.
                connection.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": WRITERS})
            there = _one(connection, entry_table.c.key == content.key)
            if there is not None:
                return _same(there, row)
            last = _last(connection)
            _check_clock(content, last)
            row["number"] = 1 if last is None else last["number"] + 1
            row["previous_hash"] = FIRST_LINK if last is None else last["hash"]
            row["hash"] = content_hash(row)
            connection.execute(insert(entry_table).values(row))
            if picture is not None:
                keep_picture(connection, picture)
        return entry_from_row(row)

    def entries(self, *, bed: str | None = None, kind: str | None = None,
                since: datetime | None = None, until: datetime | None = None
                ) -> tuple[Entry, ...]:
        """Entries exactly as made, in the order of the chain.

        ``kind`` also takes an event's name; ``since``/``until`` are aware datetimes and
        bound when it happened (both ends included).
        """
        return tuple(self._select(bed, kind, since, until))

    def entry(self, number: int) -> Entry:
        """One entry by its number; NoSuchEntryError."""
        with reading(self._engine) as connection:
            row = _one(connection, entry_table.c.number == number)
        if row is None:
            raise NoSuchEntryError(f"There is no entry {number}.")
        return entry_from_row(row)

    def current(self, bed: str | None = None, *, kind: str | None = None,
                withdrawn: bool = False, since: datetime | None = None) -> tuple[Standing, ...]:
        """What stands now for a bed (or all), corrections applied, in the order it happened.

        ``kind`` is a subject ("volume-reading", "event", ...) or an event's name.
        Withdrawn things are left out unless ``withdrawn`` is True; ``since`` (an aware
        datetime) leaves out what happened before.  Reads only what it returns, so a
        long record does not slow a page down.
        """
        with reading(self._engine) as connection:
            return standing_now(connection, bed, kind, since, withdrawn)

    def last(self, bed: str, kind: str) -> Standing | None:
        """The latest standing thing of that kind (or event name) for a bed."""
        with reading(self._engine) as connection:
            found = standing_now(connection, bed, kind, None, False, newest=True)
        return found[-1] if found else None

    def picture(self, entry: Entry) -> bytes | None:
        """The JPEG that was kept with an entry, or None."""
        sha256 = entry.payload.get("picture_sha256")
        if sha256 is None:
            return None
        with reading(self._engine) as connection:
            return kept_picture(connection, sha256)

    def beds(self) -> tuple[str, ...]:
        """Bed codes that have entries, each in its one form, sorted."""
        with reading(self._engine) as connection:
            return tuple(sorted({normal_bed(s) for s in spellings(connection)}))

    def count(self) -> int:
        """How many entries there are."""
        with reading(self._engine) as connection:
            return int(connection.execute(text("SELECT count(*) FROM entry")).scalar() or 0)

    def verify(self, *, expected: tuple[int, str] | None = None) -> Verification:
        """Check the whole chain and the database's guards; names the first fault."""
        with reading(self._engine) as connection:
            missing = _missing_guards(connection, self._engine.dialect.name)
            rows = connection.execute(
                select(entry_table).order_by(entry_table.c.number)
                .execution_options(yield_per=500)).mappings()
            found = walk((plain(r) for r in rows), missing_guards=missing, expected=expected)
            return pictures_checked(connection, found) if found.ok else found

    def _select(self, bed: str | None, kind: str | None, since: datetime | None,
                until: datetime | None) -> Iterator[Entry]:
        c = entry_table.c
        query = select(entry_table).order_by(c.number)
        if kind is not None:
            query = query.where((c.kind == kind) | (c.event == kind))
        if since is not None:
            query = query.where(c.happened_utc >= Moment.of(since).utc_text)
        if until is not None:
            query = query.where(c.happened_utc <= Moment.of(until).utc_text)
        with reading(self._engine) as connection:
            if bed is not None:
                query = query.where(of_bed(connection, bed))
            rows = connection.execute(query).mappings().all()
        return (entry_from_row(plain(row)) for row in rows)


def _one(connection: Connection, condition: Any) -> dict[str, Any] | None:
    row = connection.execute(select(entry_table).where(condition)).mappings().first()
    return None if row is None else plain(row)


def _last(connection: Connection) -> dict[str, Any] | None:
    query = select(entry_table).order_by(entry_table.c.number.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    return None if row is None else plain(row)


def _same(there: Mapping[str, Any], row: Mapping[str, Any]) -> Entry:
    """A double tap gives the entry made by the first tap."""
    quiet = {*_RECORDED}
    if row["happened_utc"] == row["recorded_utc"]:  # "now" of the second tap
        quiet |= {"happened_utc", "happened_offset_min"}
    if any(there[name] != value for name, value in row.items() if name not in quiet):
        raise KeyReusedError(
            f"This form was confirmed already as entry {there['number']}, with other content. "
            "Nothing new was recorded; open the entry and correct it.")
    return entry_from_row(there)


def _check_clock(content: Content, last: Mapping[str, Any] | None) -> None:
    if last is None or content.clock_checked:
        return
    ahead = content.recorded.utc - Moment.parse(last["recorded_utc"],
                                                last["recorded_offset_min"]).utc
    if -CLOCK_SLACK <= ahead <= CLOCK_AHEAD:
        return
    apart = f"{int(-ahead.total_seconds() // 60)} min behind" if ahead < timedelta(0) else \
        f"{int(ahead.total_seconds() // 3600)} h ahead of"
    raise ClockDoubtError(
        f"This machine's clock is {apart} the last entry. Nothing was recorded. Check date and "
        "time of this machine; if they are right, say so and confirm again.")


def _missing_guards(connection: Connection, dialect: str) -> set[str]:
    query = ("SELECT name FROM sqlite_master WHERE type = 'trigger'"
             if dialect == "sqlite" else
             "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D' "
             "AND tgrelid IN ('entry'::regclass, 'picture'::regclass)")
    return set(GUARDS[dialect]) - set(connection.exec_driver_sql(query).scalars())

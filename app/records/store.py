"""The store: confirmed entries in, entries out, nothing changed, nothing deleted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, func, select, text

from app.records.anchor import anchor_file, check_anchor, check_file, write_anchor
from app.records.chain import Verification
from app.records.check import CheckedRead, chain_checked, everything_checked
from app.records.codes import normal_bed
from app.records.confirmed import ConfirmedEntry, unsealed
from app.records.content import Content, Entry, entry_from_row
from app.records.engine import database_url, make_engine, prepared_place, reading, writing
from app.records.errors import (
    ClockDoubtError,
    DamagedError,
    KeyReusedError,
    NoSuchEntryError,
    ReadOnlyError,
    RecordError,
)
from app.records.kinds import STATION_KEY
from app.records.moment import Moment
from app.records.picture import KeptPicture
from app.records.picture_table import check_picture, keep_picture, kept_picture
from app.records.schema import entry_table, plain, unsigned_entry_table
from app.records.sealing import newest, put_sealed
from app.records.standing import Standing
from app.records.standing_query import of_bed, spellings, standing_now
from app.records.station_key import StationKey, station_key
from app.records.version import HEAD, SIGNED_FROM, bring_up_to_date

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

    def __init__(self, engine: Engine, form: str, anchor: Path) -> None:
        """Use :meth:`open`."""
        self._engine, self._form, self._anchor = engine, form, anchor
        self._held: Connection | None = None
        self._entries = entry_table if form >= SIGNED_FROM else unsigned_entry_table

    @classmethod
    def open(cls, where: str | Path, *, wait_seconds: float = 10.0, create: bool = True,
             anchored: bool = True) -> Store:
        """Open or make the record at a data folder, an SQLite file or a database URL.

        ``wait_seconds`` is how long a write waits for other writers; ``create`` False
        makes and changes nothing: it opens what is there for looking, also an older form
        or a copy on a read-only medium.  Raises a RecordError with a sentence when the
        place cannot be used, or the record is not what its anchor says; ``anchored``
        False leaves that to the checks.
        """
        url = database_url(where)
        anchor = anchor_file(url)
        there = check_file(url, anchor, anchored=anchored)
        engine = make_engine(prepared_place(url, create=create), wait_seconds=wait_seconds,
                             change=create)
        store = cls(engine, bring_up_to_date(engine, create=create), anchor)
        if anchored and there is not None:
            with reading(engine) as connection:
                check_anchor(connection, store._entries, there, anchor)
        return store

    @contextmanager
    def at_one_moment(self) -> Iterator[Store]:
        """This record as it stands now, for questions that belong together: all are answered
        from one state and over one connection, whatever others record meanwhile.  For the
        thread that asks for it."""
        if self._held is not None:
            yield self
            return
        with reading(self._engine) as connection:
            held = copy(self)
            held._held = connection
            yield held

    @contextmanager
    def _look(self) -> Iterator[Connection]:
        if self._held is not None:
            yield self._held
            return
        with reading(self._engine) as connection:
            yield connection

    @property
    def place(self) -> str:
        """Where the record is, without any password."""
        return self._engine.url.render_as_string(hide_password=True)

    def add(self, confirmed: ConfirmedEntry, picture: KeptPicture | None = None) -> Entry:
        """Put a confirmed entry on record; on disk when this returns.

        ``picture`` is the one that the entry names, if it names one.  As :meth:`add_all`.
        """
        return self.add_all([(confirmed, picture)])[0]

    def add_all(self, confirmed: Sequence[tuple[ConfirmedEntry, KeptPicture | None]]
                ) -> tuple[Entry, ...]:
        """Put entries on record together, in this order: all of them or none.

        Each with the picture that it names, if it names one.  The same form key twice gives
        the entry that is there already.  Raises
        NotConfirmedError for anything but the result of ``confirm``,
        KeyReusedError, AlreadySupersededError, ClockDoubtError, or the error of
        the database in a sentence; then nothing was recorded.
        """
        contents = [unsealed(c) for c, _ in confirmed]
        for content, (_, picture) in zip(contents, confirmed, strict=True):
            check_picture(content, picture)
        if self._form != HEAD:
            raise ReadOnlyError("This record has an older form and was opened for looking only. "
                                "Nothing was recorded.")
        key, entries = self._key(), []
        made: list[tuple[Mapping[str, Any], KeptPicture | None]] = []
        with writing(self._engine) as connection:
            if self._engine.dialect.name == "postgresql":
                # Writers take turns, readers are not held up.  A table lock would need
                # rights to change entries, which a station should not have.
                connection.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": WRITERS})
            for content, (_, picture) in zip(contents, confirmed, strict=True):
                there = self._one(connection, entry_table.c.key == content.key)
                if there is not None:
                    entries.append(_same(there, content.row()))
                    continue
                _check_clock(content, newest(connection))
                row = put_sealed(connection, content, key)
                if picture is not None:
                    keep_picture(connection, picture)
                made.append((row, picture))
                entries.append(entry_from_row(row))
        if made:
            self._read_back(made, key)
        return tuple(entries)

    def _key(self) -> StationKey:
        """The key that signs what is put on record."""
        return station_key()

    def _read_back(self, made: Sequence[tuple[Mapping[str, Any], KeptPicture | None]],
                   key: StationKey) -> None:
        """What was committed must be there as it was confirmed; then the anchor moves on."""
        try:
            with reading(self._engine) as connection:
                kept = all(
                    self._one(connection, entry_table.c.number == row["number"]) == row
                    and (picture is None or kept_picture(connection, picture.sha256)
                         == picture.jpeg) for row, picture in made)
                last = newest(connection)
        except RecordError:
            kept, last = False, None
        if not kept or last is None:
            raise DamagedError(
                "It is not certain that the record kept this entry as it was confirmed. Confirm it "
                "again: it cannot be entered twice. If this comes back, stop using the record and "
                "ask who looks after this machine.")
        write_anchor(self._anchor, last["number"], last["hash"], key)

    def entries(self, *, bed: str | None = None, kind: str | None = None,
                since: datetime | None = None, until: datetime | None = None
                ) -> tuple[Entry, ...]:
        """What people confirmed, exactly as made, in the order of the chain.

        ``kind`` also takes an event's name; ``since``/``until`` are aware datetimes and
        bound when it happened (both ends included).
        """
        return tuple(self._select(bed, kind, since, until))

    def entry(self, number: int) -> Entry:
        """One entry by its number; NoSuchEntryError."""
        with self._look() as connection:
            row = self._one(connection, self._entries.c.number == number)
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
        with self._look() as connection:
            return standing_now(connection, self._entries, bed, kind, since, withdrawn)

    def last(self, bed: str, kind: str) -> Standing | None:
        """The latest standing thing of that kind (or event name) for a bed."""
        with self._look() as connection:
            found = standing_now(connection, self._entries, bed, kind, None, False, newest=True)
        return found[-1] if found else None

    def of_photo(self, sha256: str) -> tuple[Entry, ...]:
        """Readings that rest on a photo, alone or among several, as they were first made."""
        c = self._entries.c
        query = select(self._entries).where(
            (c.photo_sha256 == sha256) | c.payload.contains(f'"sha256":"{sha256}"'),
            c.refers_to.is_(None), c.kind != STATION_KEY).order_by(c.number)
        with self._look() as connection:
            rows = connection.execute(query).mappings().all()
        return tuple(entry_from_row(plain(row)) for row in rows)

    def picture(self, entry: Entry) -> bytes | None:
        """The JPEG that was kept with an entry, or None."""
        sha256 = entry.payload.get("picture_sha256")
        if sha256 is None:
            return None
        with self._look() as connection:
            return kept_picture(connection, sha256)

    def beds(self) -> tuple[str, ...]:
        """Bed codes that have entries, each in its one form, sorted."""
        with self._look() as connection:
            return tuple(sorted({normal_bed(s) for s in spellings(connection)}))

    def count(self) -> int:
        """How many entries people made."""
        query = select(func.count()).where(self._entries.c.kind != STATION_KEY)
        with self._look() as connection:
            return int(connection.execute(query).scalar() or 0)

    def verify(self, *, expected: tuple[int, str] | None = None) -> Verification:
        """Check everything: the chain with its signatures and its anchor, the guards, the
        database's own check, the ways in which the pages ask, the kept pictures.  Names the
        first fault; ``expected`` is the number and mark of an entry noted earlier."""
        with self._look() as connection:
            return everything_checked(connection, self._entries, self._form, self._anchor,
                                      expected)

    def checked_read(self, bed: str | None = None, *, signatures: bool = False,
                     stations: bool = False) -> CheckedRead:
        """The entries of a bed (or all), read by the very walk that checks the chain and its
        anchor: what is counted from them is what was checked.  Of a broken record those
        before the fault.

        ``signatures`` checks these, too; ``stations`` adds the entries of station keys.
        """
        rows: list[dict[str, Any]] = []

        def look(row: dict[str, Any]) -> None:
            if bed is None or normal_bed(row["bed"]) == normal_bed(bed) or (
                    stations and row["kind"] == STATION_KEY):
                rows.append(row)

        with self._look() as connection:
            found = chain_checked(connection, self._entries, self._anchor, None,
                                  signatures=signatures, look=look)
        return CheckedRead(found, tuple(entry_from_row(row) for row in rows
                                        if stations or row["kind"] != STATION_KEY))

    def _select(self, bed: str | None, kind: str | None, since: datetime | None,
                until: datetime | None) -> Iterator[Entry]:
        c = self._entries.c
        query = select(self._entries).order_by(c.number)
        query = query.where(c.kind != STATION_KEY if kind is None else
                            (c.kind == kind) | (c.event == kind))
        if since is not None:
            query = query.where(c.happened_utc >= Moment.of(since).utc_text)
        if until is not None:
            query = query.where(c.happened_utc <= Moment.of(until).utc_text)
        with self._look() as connection:
            if bed is not None:
                query = query.where(of_bed(connection, self._entries, bed))
            rows = connection.execute(query).mappings().all()
        return (entry_from_row(plain(row)) for row in rows)

    def _one(self, connection: Connection, condition: Any) -> dict[str, Any] | None:
        row = connection.execute(select(self._entries).where(condition)).mappings().first()
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

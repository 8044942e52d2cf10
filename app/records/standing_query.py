"""Find what stands, and the history behind it, without reading the whole record."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, Table, exists, func, select, text

from app.records.codes import normal_bed
from app.records.content import Entry, entry_from_row
from app.records.kinds import NO_BED, STATION_KEY
from app.records.moment import Moment
from app.records.schema import entry_table, plain, unsigned_entry_table
from app.records.standing import Standing, standings

#: SQLite takes at least 999 variables in one statement (its documented default).
AT_ONCE = 500


#: Hops from one spelling to the next along the index, however long the record is.
_SPELLINGS = text("""
WITH RECURSIVE spelling(bed) AS (
  SELECT min(bed) FROM entry
  UNION ALL
  SELECT (SELECT min(e.bed) FROM entry e WHERE e.bed > spelling.bed)
  FROM spelling WHERE spelling.bed IS NOT NULL)
SELECT bed FROM spelling WHERE bed IS NOT NULL""")


def spellings(connection: Connection) -> list[str]:
    """Every bed code on record as it was confirmed."""
    return [s for s in connection.execute(_SPELLINGS).scalars() if s != NO_BED]


def of_bed(connection: Connection, table: Table, bed: str) -> ColumnElement[bool]:
    """Entries of one bed, in whatever spelling they were confirmed."""
    wanted = normal_bed(bed)
    return table.c.bed.in_([s for s in spellings(connection) if normal_bed(s) == wanted])


#: The same entries once more, looked through for a later word.
_LATER = {table: table.alias("later") for table in (entry_table, unsigned_entry_table)}


def standing_where(connection: Connection, table: Table, bed: str | None = None,
                   kind: str | None = None, *, withdrawn: bool = False
                   ) -> list[ColumnElement[bool]]:
    """The conditions of the last word about each thing."""
    later, c = _LATER[table], table.c
    where = [~exists().where(later.c.refers_to == c.number), c.kind != STATION_KEY]
    if bed is not None:
        where.append(of_bed(connection, table, bed))
    if kind is not None:
        where.append((c.subject == kind) | (c.event == kind))
    if not withdrawn:
        where.append(c.kind != "withdrawal")
    return where


def standing_now(connection: Connection, table: Table, bed: str | None, kind: str | None,
                 since: datetime | None, withdrawn: bool, *, newest: bool = False
                 ) -> tuple[Standing, ...]:
    """The last word about each thing, with everything that was said before it.

    ``newest`` keeps only what happened last (all of it when several things did).
    """
    where, c = standing_where(connection, table, bed, kind, withdrawn=withdrawn), table.c
    if since is not None:
        where.append(c.happened_utc >= Moment.of(since).utc_text)
    if newest:
        last = connection.execute(select(func.max(c.happened_utc)).where(*where)).scalar()
        where.append(c.happened_utc == last)
    rows = connection.execute(select(table).where(*where)).mappings()
    entries = {e.number: e for e in (entry_from_row(plain(r)) for r in rows)}
    _add_history(connection, table, entries)
    return standings(entries.values())


def _add_history(connection: Connection, table: Table, entries: dict[int, Entry]) -> None:
    """Follow the references back to the originals."""
    missing = _named(list(entries.values()), entries)
    while missing:
        found: list[Entry] = []
        for k in range(0, len(missing), AT_ONCE):
            query = select(table).where(table.c.number.in_(missing[k: k + AT_ONCE]))
            found += [entry_from_row(plain(r)) for r in connection.execute(query).mappings()]
        entries.update({e.number: e for e in found})
        missing = _named(found, entries)


def _named(new: Iterable[Entry], known: dict[int, Entry]) -> list[int]:
    return sorted({e.refers_to for e in new
                   if e.refers_to is not None and e.refers_to not in known})

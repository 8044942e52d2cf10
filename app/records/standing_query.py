"""Find what stands, and the history behind it, without reading the whole record."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, exists, func, select, text

from app.records.codes import normal_bed
from app.records.content import Entry, entry_from_row
from app.records.moment import Moment
from app.records.schema import entry_table, plain
from app.records.standing import Standing, standings

#: SQLite takes at least 999 variables in one statement (its documented default).
_AT_ONCE = 500

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
    return list(connection.execute(_SPELLINGS).scalars())


def of_bed(connection: Connection, bed: str) -> ColumnElement[bool]:
    """Entries of one bed, in whatever spelling they were confirmed."""
    wanted = normal_bed(bed)
    return entry_table.c.bed.in_([s for s in spellings(connection) if normal_bed(s) == wanted])


def standing_now(connection: Connection, bed: str | None, kind: str | None,
                 since: datetime | None, withdrawn: bool, *, newest: bool = False
                 ) -> tuple[Standing, ...]:
    """The last word about each thing, with everything that was said before it.

    ``newest`` keeps only what happened last (all of it when several things did).
    """
    later = entry_table.alias("later")
    c = entry_table.c
    where = [~exists().where(later.c.refers_to == c.number)]
    if bed is not None:
        where.append(of_bed(connection, bed))
    if kind is not None:
        where.append((c.subject == kind) | (c.event == kind))
    if since is not None:
        where.append(c.happened_utc >= Moment.of(since).utc_text)
    if not withdrawn:
        where.append(c.kind != "withdrawal")
    if newest:
        last = connection.execute(select(func.max(c.happened_utc)).where(*where)).scalar()
        where.append(c.happened_utc == last)
    rows = connection.execute(select(entry_table).where(*where)).mappings()
    entries = {e.number: e for e in (entry_from_row(plain(r)) for r in rows)}
    _add_history(connection, entries)
    return standings(entries.values())


def _add_history(connection: Connection, entries: dict[int, Entry]) -> None:
    """Follow the references back to the originals."""
    missing = _named(list(entries.values()), entries)
    while missing:
        found: list[Entry] = []
        for k in range(0, len(missing), _AT_ONCE):
            query = select(entry_table).where(entry_table.c.number.in_(missing[k: k + _AT_ONCE]))
            found += [entry_from_row(plain(r)) for r in connection.execute(query).mappings()]
        entries.update({e.number: e for e in found})
        missing = _named(found, entries)


def _named(new: Iterable[Entry], known: dict[int, Entry]) -> list[int]:
    return sorted({e.refers_to for e in new
                   if e.refers_to is not None and e.refers_to not in known})

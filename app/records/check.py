"""The checks of a record beyond its chain, and what was read while the chain was walked.

The chain is read by a plain scan of the table.  The pages read through indexes; so
each of their ways of asking is compared with the scan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, func, select

from app.records.anchor import read_anchor
from app.records.chain import Noted, Verification, walk
from app.records.codes import normal_bed
from app.records.content import Entry
from app.records.errors import DamagedError
from app.records.guards import guard_faults
from app.records.kinds import NO_BED, STATION_KEY
from app.records.moment import Moment
from app.records.picture_table import picture_fault
from app.records.schema import plain
from app.records.standing import Standing, standings
from app.records.standing_query import AT_ONCE, of_bed, spellings, standing_where

#: Rows fetched at a time, so that a long record does not fill the memory.
_ROWS = 500


@dataclass(frozen=True)
class CheckedRead:
    """Entries as they were read by the very walk that checked them, asked like a store."""

    verification: Verification
    entries: tuple[Entry, ...]

    def current(self, bed: str | None = None, *, kind: str | None = None,
                withdrawn: bool = False, since: datetime | None = None) -> tuple[Standing, ...]:
        """As :meth:`app.records.store.Store.current`, of these entries."""
        return tuple(
            s for s in standings(e for e in self.entries if e.kind != STATION_KEY
                                 and (bed is None or normal_bed(e.bed) == normal_bed(bed)))
            if (withdrawn or not s.withdrawn) and kind in (None, s.entry.subject, s.entry.event)
            and (since is None or s.history[-1].happened.utc_text >= Moment.of(since).utc_text))

    @contextmanager
    def at_one_moment(self) -> Iterator[CheckedRead]:
        """As :meth:`app.records.store.Store.at_one_moment`: these entries were read at one."""
        yield self

    def last(self, bed: str, kind: str) -> Standing | None:
        """As :meth:`app.records.store.Store.last`, of these entries."""
        found = self.current(bed, kind=kind)
        return found[-1] if found else None


def scan(connection: Connection, table: Table) -> Iterator[dict[str, Any]]:
    """Every row in the order of the chain, from the table itself."""
    if connection.dialect.name == "postgresql":
        for way in ("indexscan", "indexonlyscan", "bitmapscan"):
            connection.exec_driver_sql(f"SET LOCAL enable_{way} = off")
    # SQLite keeps the rows in the order of their numbers: no index is asked.
    rows = connection.execute(select(table).order_by(table.c.number)
                              .execution_options(yield_per=_ROWS)).mappings()
    return (plain(row) for row in rows)


def chain_checked(connection: Connection, table: Table, anchor: Path,
                  expected: tuple[int, str] | None, *, signatures: bool,
                  look: Callable[[dict[str, Any]], None]) -> Verification:
    """The chain walked, with what was noted in the anchor and elsewhere; ``look`` sees each
    row that is whole up to there."""
    noted = [] if expected is None else [Noted(*expected, "noted earlier")]
    problem, there = "", None
    try:
        there = read_anchor(anchor)
    except DamagedError as error:
        problem = str(error)
    if there is not None:
        noted.append(Noted(there.entry, there.head, "noted in the anchor of the record"))

    def seen() -> Iterator[dict[str, Any]]:
        for row in scan(connection, table):
            yield row
            look(row)  # the walk came back for the next one

    found = walk(seen(), noted=noted, signatures=signatures)
    if not found.ok:
        return found
    if problem:
        return found.faulty("its anchor cannot be read or was changed")
    if there is not None and there.key not in {s.public for s in found.stations}:
        return found.faulty("its anchor is signed by a station that the record does not know")
    if there is None and expected is None and found.stations:
        return replace(found, sentence=f"{found.sentence} No anchor of it is here: entries cut off "
                       "at its end would not show.")
    return found


def everything_checked(connection: Connection, table: Table, form: str, anchor: Path,
                       expected: tuple[int, str] | None) -> Verification:
    """The chain with its signatures, the guards, the database's own check, the ways in which
    the pages ask, the kept pictures; the first fault is told."""
    rows: dict[int, dict[str, Any]] = {}
    kept = ("hash", "bed", "kind", "subject", "event", "happened_utc", "refers_to")

    def look(row: dict[str, Any]) -> None:
        rows[row["number"]] = {name: row[name] for name in kept}

    found = chain_checked(connection, table, anchor, expected, signatures=True, look=look)
    if not found.ok:
        return found
    if guards := guard_faults(connection, form):
        return found.faulty(f"the database's own guard is gone or changed ({'; '.join(guards)}): "
                            "it could be changed unnoticed from now on")
    if fault := _own_check(connection) or _ways_fault(connection, table, rows):
        return found.faulty(fault)
    number, fault = picture_fault(connection, table)
    return found.faulty(f"entry {number} is not: {fault}", broken=number) if fault else found


def _own_check(connection: Connection) -> str | None:
    """SQLite's own check of pages, indexes and references.  PostgreSQL has none that an
    ordinary user may run; there the comparison of the ways stands in."""
    if connection.dialect.name != "sqlite":
        return None
    found = connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar()
    if found == "ok" and connection.exec_driver_sql("PRAGMA foreign_key_check").first() is None:
        return None
    return "the database's own check finds its file damaged: what is read from it may lack entries"


def _ways_fault(connection: Connection, table: Table, rows: Mapping[int, Mapping[str, Any]]
                ) -> str | None:
    """Do the ways in which the account is asked give what the scan gave?"""
    if connection.dialect.name == "postgresql":
        for way, on in (("indexscan", "on"), ("indexonlyscan", "on"), ("bitmapscan", "on"),
                        ("seqscan", "off")):
            connection.exec_driver_sql(f"SET LOCAL enable_{way} = {on}")
    c = table.c
    superseded = {row["refers_to"] for row in rows.values()}
    beds: dict[str, list[int]] = {}
    for number, row in rows.items():
        if row["bed"] != NO_BED:
            beds.setdefault(normal_bed(row["bed"]), []).append(number)

    def differs(where: Sequence[Any], numbers: Sequence[int]) -> bool:
        # The hash makes the database fetch the row itself, as the account does.
        found = connection.execute(select(c.number, c.hash).where(*where))
        return sorted((n, h) for n, h in found) != [(n, rows[n]["hash"]) for n in sorted(numbers)]

    numbers = sorted(rows)
    wrong = any(differs([c.number.in_(part)], part) for k in range(0, len(numbers), AT_ONCE)
                if (part := numbers[k: k + AT_ONCE]))
    wrong |= set(spellings(connection)) != {row["bed"] for row in rows.values()} - {NO_BED}
    for bed, its in beds.items():
        stands = [n for n in its if n not in superseded]
        valid = [n for n in stands if rows[n]["kind"] != "withdrawal"]
        wrong |= differs([of_bed(connection, table, bed)], its)
        wrong |= differs(standing_where(connection, table, bed, withdrawn=True), stands)
        wrong |= differs(standing_where(connection, table, bed), valid)
        for kind in {rows[n]["subject"] for n in valid} | {rows[n]["event"] for n in valid} - {
                None}:
            times = {n: rows[n]["happened_utc"] for n in valid
                     if kind in (rows[n]["subject"], rows[n]["event"])}
            where = standing_where(connection, table, bed, kind)
            newest = connection.execute(select(func.max(c.happened_utc)).where(*where)).scalar()
            wrong |= newest != max(times.values()) or differs(
                [*where, c.happened_utc >= newest],
                [n for n, at in times.items() if at == newest])
    return "what is asked for through the database's indexes is not what its table holds" \
        if wrong else None

"""Are the database's own rules those that this software made?  Compared by their text."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any

from sqlalchemy import Connection, create_engine

from app.records.version import KNOWN, migrate


def guard_faults(connection: Connection, form: str) -> tuple[str, ...]:
    """What is missing, changed or not ours, in words; empty where all is as it was made."""
    sqlite = connection.dialect.name == "sqlite"
    there = _sqlite(connection) if sqlite else _postgresql(connection)
    made = _sqlite_as_made(form) if sqlite else _postgresql_as_made(form)
    faults = [f"{name} is missing" for name in sorted(made.keys() - there.keys())]
    faults += [f"{name} was changed" for name in sorted(made.keys() & there.keys())
               if made[name] != there[name]]
    return (*faults, *(f"{name} is not of this software"
                       for name in sorted(there.keys() - made.keys())))


def _sqlite(connection: Connection) -> dict[str, str]:
    """Tables, views, indexes and triggers by name; of what is not ours the triggers only."""
    rows = connection.exec_driver_sql(
        "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND (type = 'trigger' OR "
        "name IN ('entry', 'picture', 'entry_bed_happened', 'standing_entry'))").all()
    return {str(name): f"{kind} {sql}" for kind, name, sql in rows}


@cache
def _sqlite_as_made(form: str) -> Mapping[str, str]:
    with create_engine("sqlite://").begin() as connection:
        migrate(connection, form)
        return _sqlite(connection)


def _postgresql(connection: Connection) -> dict[str, str]:
    """Triggers that fire, the functions that they call, and rewriting rules."""
    run = connection.exec_driver_sql
    found: dict[str, str] = _pairs(run(
        "SELECT tgname, pg_get_triggerdef(oid, true) FROM pg_trigger WHERE NOT tgisinternal AND "
        "tgenabled IN ('O', 'A') AND tgrelid IN (to_regclass('entry'), to_regclass('picture'))"
    ))
    found |= _pairs(run(
        "SELECT proname, prosrc FROM pg_proc WHERE oid IN (SELECT tgfoid FROM pg_trigger WHERE "
        "NOT tgisinternal AND tgrelid IN (to_regclass('entry'), to_regclass('picture')))"
    ))
    found |= _pairs(run("SELECT rulename, definition FROM pg_rules WHERE tablename IN "
                      "('entry', 'picture')"))
    return found


def _pairs(rows: Iterable[Any]) -> dict[str, str]:
    return {str(name): str(text) for name, text in rows}


@cache
def _postgresql_as_made(form: str) -> Mapping[str, str]:
    return dict(_postgresql_parts(form))


def _postgresql_parts(form: str) -> Iterator[tuple[str, str]]:
    from app.records.migrations.versions import (
        r0001_entries,
        r0002_pictures,
        r0003_station_keys,
    )

    steps = (r0001_entries._POSTGRESQL_GUARDS, r0002_pictures._POSTGRESQL,
             r0003_station_keys.POSTGRESQL, ())
    for statement in (s for step in steps[:KNOWN.index(form) + 1] for s in step):
        if function := re.match(r"CREATE (?:OR REPLACE )?FUNCTION (\w+)", statement):
            yield function[1], statement.split("$$")[1]
        else:
            # As the server writes it.
            text = " ".join(statement.split()).replace("UPDATE OR DELETE", "DELETE OR UPDATE")
            yield text.split()[2], text

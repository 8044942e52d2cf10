"""The tables as SQLAlchemy sees them.  The rules that guard them are in the migrations."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Column, Integer, LargeBinary, MetaData, RowMapping, Table, Text

#: Columns that are hashed, in the order of the table.
CONTENT_COLUMNS: tuple[tuple[str, type], ...] = (
    ("key", str), ("kind", str), ("subject", str), ("event", str),
    ("bed", str), ("initials", str), ("identity", str),
    ("happened_utc", str), ("happened_offset_min", int),
    ("recorded_utc", str), ("recorded_offset_min", int), ("clock_checked", int),
    ("machine_status", str), ("machine_value", str), ("machine_low", str), ("machine_high", str),
    ("flags", str), ("first_read", str), ("first_value", str),
    ("confirmed_value", str), ("unit", str), ("scale", str), ("photo_sha256", str),
    ("outlet_closed", int), ("hanging_plumb", int), ("patient_undisturbed", int),
    ("right_chamber_and_scale", int), ("refers_to", int), ("reason", str), ("note", str),
    ("payload", str), ("software_version", str),
)

def _entries(*more: Column[Any]) -> Table:
    return Table(
        "entry", MetaData(),
        Column("number", Integer, primary_key=True, autoincrement=False),
        *(Column(name, Integer if kind is int else Text) for name, kind in CONTENT_COLUMNS),
        Column("previous_hash", Text, nullable=False), Column("hash", Text, nullable=False), *more)


#: ``signer`` is the number of the entry that holds the key, ``signature`` 128 hexadecimal digits.
entry_table = _entries(Column("signer", Integer), Column("signature", Text))
#: Of a record made before entries were signed.
unsigned_entry_table = _entries()

picture_table = Table(
    "picture", MetaData(),
    Column("sha256", Text, primary_key=True),
    Column("jpeg", LargeBinary, nullable=False),
)


def plain(row: RowMapping) -> dict[str, Any]:
    """A row as an ordinary dictionary."""
    return {str(name): value for name, value in row.items()}

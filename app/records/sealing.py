"""From a confirmed content to the rows that go on record: linked, hashed, signed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, insert, select

from app.records.canonical import FIRST_LINK
from app.records.chain import content_hash
from app.records.content import Content
from app.records.kinds import NO_BED, STATION_KEY
from app.records.schema import entry_table, plain
from app.records.station_key import StationKey


def put_sealed(connection: Connection, content: Content, key: StationKey) -> dict[str, Any]:
    """Insert the next entry; before it the station's key, where the record does not hold it.

    The row as it must be on record now.
    """
    signer = connection.execute(select(entry_table.c.number).where(
        entry_table.c.key == _form_key(key))).scalar()
    if signer is None:
        signer = _put(connection, _key_entry(content, key), key, None)["number"]
    return _put(connection, content, key, signer)


def newest(connection: Connection) -> dict[str, Any] | None:
    """The last row of the chain."""
    query = select(entry_table).order_by(entry_table.c.number.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    return None if row is None else plain(row)


def _put(connection: Connection, content: Content, key: StationKey, signer: int | None
         ) -> dict[str, Any]:
    last: Mapping[str, Any] = newest(connection) or {
        "number": -1 if content.kind == STATION_KEY else 0, "hash": FIRST_LINK}
    row = content.row() | {"number": last["number"] + 1, "previous_hash": last["hash"]}
    row["hash"] = content_hash(row)
    row["signer"] = row["number"] if signer is None else signer
    row["signature"] = key.sign_entry(row["hash"])
    connection.execute(insert(entry_table).values(row))
    return row


def _form_key(key: StationKey) -> str:
    return f"{STATION_KEY} {key.public}"


def _key_entry(content: Content, key: StationKey) -> Content:
    """The entry that names the key, at the moment of the first entry that it signs."""
    return Content(
        key=_form_key(key), kind=STATION_KEY, subject=STATION_KEY, bed=NO_BED, initials=NO_BED,
        happened=content.recorded, recorded=content.recorded, clock_checked=content.clock_checked,
        software_version=content.software_version, payload={"public_key": key.public})

"""Kept pictures in the database, each under its hash, named by the entry that it belongs to."""

from __future__ import annotations

import hashlib
import json

from sqlalchemy import Connection, Table, insert, select

from app.records.content import Content
from app.records.errors import ConfirmError
from app.records.picture import KeptPicture
from app.records.schema import picture_table


def check_picture(content: Content, picture: KeptPicture | None) -> None:
    """The picture handed over must be the one that was confirmed; ConfirmError."""
    named = content.payload.get("picture_sha256")
    if content.kind == "correction":  # the corrected state still names the kept picture
        named = None
    given = None if picture is None else picture.sha256
    if named != given or (picture is not None and not picture.whole):
        raise ConfirmError("The picture to be kept is not the one that was confirmed.")


def keep_picture(connection: Connection, picture: KeptPicture) -> None:
    """Store a picture once."""
    if kept_picture(connection, picture.sha256) is None:
        connection.execute(insert(picture_table).values(sha256=picture.sha256, jpeg=picture.jpeg))


def kept_picture(connection: Connection, sha256: str) -> bytes | None:
    """The picture of that hash, or None."""
    found = connection.execute(
        select(picture_table.c.jpeg).where(picture_table.c.sha256 == sha256)).scalar()
    return None if found is None else bytes(found)


def picture_fault(connection: Connection, table: Table) -> tuple[int, str]:
    """The first entry whose kept picture is not there or not unchanged, and what is wrong;
    0 and "" where every one is whole."""
    query = select(table.c.number, table.c.payload).where(
        table.c.payload.like('%"picture_sha256"%')).order_by(table.c.number)
    for number, payload in connection.execute(query).all():
        sha256 = json.loads(payload).get("picture_sha256")
        jpeg = None if sha256 is None else kept_picture(connection, sha256)
        if sha256 is None or jpeg is not None and hashlib.sha256(jpeg).hexdigest() == sha256:
            continue
        return number, "its kept picture is missing" if jpeg is None else \
            "its kept picture is not the one that was confirmed"
    return 0, ""

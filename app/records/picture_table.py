"""Kept pictures in the database, each under its hash, named by the entry that it belongs to."""

from __future__ import annotations

import hashlib
import json

from sqlalchemy import Connection, insert, select

from app.records.chain import Verification
from app.records.content import Content
from app.records.errors import ConfirmError
from app.records.picture import KeptPicture
from app.records.schema import entry_table, picture_table


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


def pictures_checked(connection: Connection, chain: Verification) -> Verification:
    """A whole chain, and the pictures that its entries name: there and unchanged?"""
    query = select(entry_table.c.number, entry_table.c.payload).where(
        entry_table.c.payload.like('%"picture_sha256"%')).order_by(entry_table.c.number)
    for number, payload in connection.execute(query).all():
        sha256 = json.loads(payload).get("picture_sha256")
        jpeg = None if sha256 is None else kept_picture(connection, sha256)
        if sha256 is None or jpeg is not None and hashlib.sha256(jpeg).hexdigest() == sha256:
            continue
        fault = "its kept picture is missing" if jpeg is None else \
            "its kept picture is not the one that was confirmed"
        return Verification(False, chain.entries, chain.head,
                            f"The {chain.entries} entries are whole, but entry {number} is not: "
                            f"{fault}. Keep a copy as it is and tell who is responsible for the "
                            "record.", number, fault)
    return chain

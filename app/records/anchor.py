"""The anchor: what a station wrote last, signed, in a small file outside the database.

A chain alone cannot show that its end was cut off, or that the whole file was
exchanged for an older one; the anchor can.  It is written after each entry is on
disk, so the record may be ahead of it, never behind.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from sqlalchemy import Connection, Table, select
from sqlalchemy.engine import URL

from app.records.engine import SMALLEST
from app.records.errors import DamagedError
from app.records.station_key import StationKey, anchor_signed
from app.settings import key_file
from vision.plain_file import open_plain, private_folder

#: Longer files are no anchor.
_LONGEST = 2000


@dataclass(frozen=True)
class Anchor:
    """``entry`` is a number, ``head`` that entry's hash, ``key`` the public half of the
    station's key that signed both."""

    entry: int
    head: str
    key: str
    signature: str


def anchor_file(url: URL) -> Path:
    """Beside the record's file; for a record on a server beside this station's key."""
    if url.get_backend_name() == "sqlite":
        return Path(f"{url.database}.anchor")
    name = url.set(username=None, password=None).render_as_string()
    return key_file().with_name(f"{hashlib.sha256(name.encode()).hexdigest()[:16]}.anchor")


def read_anchor(file: Path) -> Anchor | None:
    """The anchor, or None where none can be had; DamagedError for one that was changed."""
    try:
        with open_plain(file) as stream:
            found = json.loads(stream.read(_LONGEST))
        anchor = Anchor(int(found["entry"]), str(found["head"]), str(found["key"]),
                        str(found["signature"]))
    except OSError:
        return None
    except (ValueError, KeyError, TypeError, RecursionError):
        anchor = None
    if anchor is None or not anchor_signed(anchor.key, anchor.signature, _text(anchor)):
        raise DamagedError(
            f"The anchor of the record, '{file.name}', cannot be read or was changed. Nothing was "
            "recorded. Keep a copy of the record and its anchor as they are and tell who is "
            "responsible for the record.")
    return anchor


def check_file(url: URL, file: Path, *, anchored: bool) -> Anchor | None:
    """The anchor.  Where the file of the record is gone or empty it tells, and nothing is made.

    A changed anchor is told here only where the record is to be ``anchored``.
    """
    try:
        there = read_anchor(file)
    except DamagedError:
        if anchored:
            raise
        return None
    if url.get_backend_name() == "sqlite" and there is not None:
        record = Path(str(url.database))
        if not record.exists() or record.stat().st_size < SMALLEST:
            raise _not_whole(f"'{record}' is empty or not there", there, file)
    return there


def check_anchor(connection: Connection, table: Table, there: Anchor, file: Path) -> None:
    """The entry that was written last must be there; DamagedError.  Quick: the chain before
    it is for the checks."""
    found = connection.execute(select(table.c.hash).where(table.c.number == there.entry)).scalar()
    if found is None:
        raise _not_whole("its newest entries are missing", there, file)
    if found != there.head:
        raise _not_whole(f"entry {there.entry} is not the one that this station wrote", there, file)


def _not_whole(what: str, there: Anchor, file: Path) -> DamagedError:
    return DamagedError(
        f"The record is not whole: {what}, and {there.entry} entries were written. Nothing was "
        "recorded. Keep a copy of it as it is and tell who is responsible for the record. Where "
        f"an older copy was put there on purpose, move '{file.name}' away.")


def write_anchor(file: Path, entry: int, head: str, key: StationKey) -> None:
    """Replace the anchor at once.  An anchor of a later entry stays, and so does one that
    cannot be read: the next start tells.  Where it cannot be written the record is ahead
    of it, and nothing that was recorded is in doubt."""
    with suppress(OSError, DamagedError):
        there = read_anchor(file)
        if there is not None and there.entry > entry:
            return
        made = Anchor(entry, head, key.public, "")
        made = Anchor(entry, head, key.public, key.sign_anchor(_text(made)))
        private_folder(file.parent)
        handle, part = tempfile.mkstemp(prefix=".anchor-", dir=file.parent)  # for this user only
        try:
            with open(handle, "w", encoding="utf-8") as stream:
                json.dump(asdict(made), stream)
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(part, file)
        except OSError:
            Path(part).unlink(missing_ok=True)
            raise


def _text(anchor: Anchor) -> str:
    return f"{anchor.entry}\n{anchor.head}"

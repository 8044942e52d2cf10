"""What went wrong underneath, said in one sentence for the person at the bedside."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from app.records.errors import (
    AlreadySupersededError,
    DamagedError,
    DiskFullError,
    LockedError,
    NotARecordError,
    ReadOnlyError,
    RecordError,
    RefusedByDatabaseError,
    UnreachableError,
)

_NOTHING = "Nothing was recorded."
FULL = f"The disk is full. {_NOTHING} Make room, then confirm again."
READ_ONLY = f"The record cannot be written there. {_NOTHING} Ask who looks after this machine."
LOCKED = f"Another program keeps the record locked. {_NOTHING} Wait a moment, then confirm again."
NOT_OURS = "This file is not a record of this software; choose another data folder."
DAMAGED = ("The record's file is damaged. Stop using it, keep a copy as it is, and ask who looks "
           "after this machine.")
UNREACHABLE = ("The record's database does not answer. Nothing was recorded. Check the network, "
               "then confirm again.")
CANNOT_READ = ("The record cannot be read: a part of it is missing or is not as this software "
               "wrote it. Nothing was recorded. Keep a copy as it is and ask who looks after this "
               "machine.")
NOT_LET_IN = "The record's database does not let this station in; check user, password and address."
SUPERSEDED = ("This entry was corrected or withdrawn in the meantime. Look at the present state "
              "before you correct it again.")


@contextmanager
def spoken() -> Iterator[None]:
    """Turn database errors into record errors; others pass."""
    try:
        yield
    except DBAPIError as error:
        raise _translate(error.orig) from None
    except sqlite3.Error as error:
        raise _translate(error) from None
    except UnicodeDecodeError:  # a name in the database that is no text any more
        raise DamagedError(CANNOT_READ) from None


def _translate(error: object) -> RecordError:
    if isinstance(error, sqlite3.Error):
        return _from_sqlite(error)
    state = getattr(error, "sqlstate", None)
    text = str(error)
    if "guard: superseded already" in text or "superseded_once" in text:
        return AlreadySupersededError(SUPERSEDED)
    if state in ("55P03", "40001", "40P01"):
        return LockedError(LOCKED)
    if state == "53100":
        return DiskFullError(FULL)
    if state in ("25006", "42501"):
        return ReadOnlyError(READ_ONLY)
    if state in ("28000", "28P01", "3D000") or state is None and re.search(
            "authentication|does not exist|pg_hba|not permitted", text):
        return UnreachableError(NOT_LET_IN)
    if state is None or state.startswith(("08", "57")):
        return UnreachableError(UNREACHABLE)
    if state.startswith(("42", "XX")):  # no such table or column; damaged inside
        return DamagedError(CANNOT_READ)
    return RefusedByDatabaseError(f"The record refused this entry ({_rule(text)}). {_NOTHING}")


def _from_sqlite(error: sqlite3.Error) -> RecordError:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    text = str(error)
    if code == sqlite3.SQLITE_FULL or "disk I/O error" in text and _is_short_write(error):
        return DiskFullError(FULL)
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return ReadOnlyError(READ_ONLY)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return LockedError(LOCKED)
    if code == sqlite3.SQLITE_NOTADB:
        return NotARecordError(NOT_OURS)
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_IOERR):
        return DamagedError(DAMAGED)
    if "guard: superseded already" in text or "entry.refers_to" in text:
        return AlreadySupersededError(SUPERSEDED)
    if code != sqlite3.SQLITE_CONSTRAINT:  # no such table or column, text that is none
        return DamagedError(CANNOT_READ)
    return RefusedByDatabaseError(f"The record refused this entry ({_rule(text)}). {_NOTHING}")


def _is_short_write(error: sqlite3.Error) -> bool:
    # A write cut short by a quota or a file-size limit comes as an I/O error.
    return getattr(error, "sqlite_errorname", "") in ("SQLITE_IOERR_WRITE", "SQLITE_IOERR_TRUNCATE",
                                                      "SQLITE_IOERR_SHMSIZE")


def _rule(text: str) -> str:
    """The name of the rule, without any value of the entry (values may be patient data)."""
    first = text.splitlines()[0]
    for marker in ("guard: ", "constraint failed: ", 'constraint "'):
        if marker in first:
            return first.split(marker, 1)[1].split('"')[0][:80]
    return "database error"

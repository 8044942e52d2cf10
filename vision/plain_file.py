"""Files of people's own: read and written only where they are plain files.

A pipe would be waited for without end, a device never ends or is replaced by what
is written, and JSON nested deep or a text of another coding are no programming
errors: whatever is wrong with a file is an ``OSError`` or a ``ValueError`` here.
"""

from __future__ import annotations

import json
import os
import stat
import tempfile
from pathlib import Path
from typing import Any, BinaryIO

#: Longest text file that is read as a whole: far beyond any lens, note or summary.
MAX_TEXT_BYTES = 64 * 1024 * 1024

#: How a file begins whose content cannot be made again: an SQLite database and its log (SQLite,
#: "Database File Format", 1.3 and 4.1), a private key (RFC 7468), an anchor of a record.
_KEPT = (b"SQLite format 3\0", b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83", b"-----BEGIN ",
         b'{"entry":')


def open_plain(path: str | Path) -> BinaryIO:
    """Open an existing plain file for reading.  Raises OSError for anything else."""
    try:
        # Not waiting for a writer is what tells a pipe from a file without a race.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
                         | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0))
    except ValueError as error:  # a name with a nul or half a character
        raise OSError(str(error)) from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(f"'{path}' is not a plain file")
    return os.fdopen(handle, "rb")


def read_text(path: str | Path, most_bytes: int = MAX_TEXT_BYTES) -> str:
    """The UTF-8 text of a plain file.  Raises OSError, or ValueError for other content."""
    with open_plain(path) as stream:
        data = stream.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise ValueError(f"more than {most_bytes} bytes")
    return data.decode("utf-8")


def parse_json(text: str | bytes, **hooks: Any) -> Any:
    """As ``json.loads``, but ValueError for whatever is wrong, deep nesting included."""
    try:
        return json.loads(text, **hooks)
    except RecursionError:
        raise ValueError("it is nested too deep") from None


def write_whole(path: str | Path, data: bytes) -> None:
    """All of the file or nothing: an old file stays when the new one cannot be written.

    The file is readable by this user only.  Raises OSError, also where ``path`` is
    there and no plain file: a device or a pipe is not to be replaced.  Nor is a database or
    a key by anything else: a slip in a file's name must not end a record.
    """
    try:
        target = Path(path).resolve()
        if target.exists():
            if not target.is_file():
                raise OSError(f"'{path}' is not a plain file")
            with open_plain(target) as stream:
                begins = stream.read(max(map(len, _KEPT)))
            if any(begins.startswith(k) and not data.startswith(k) for k in _KEPT):
                raise OSError(f"'{path}' is a database or a key")
        handle, part = tempfile.mkstemp(prefix=".countersight-", dir=target.parent)
    except (ValueError, RuntimeError) as error:  # a name with a nul; links in a circle
        raise OSError(str(error)) from None
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(part, target)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise


def private_folder(folder: Path) -> Path:
    """The folder, made if need be with whatever it lies in, for this user only; OSError."""
    for place in (*reversed(folder.parents), folder):
        if not place.is_dir():
            place.mkdir(mode=0o700, exist_ok=True)
    return folder

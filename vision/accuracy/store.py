"""The results file of a run: appended row by row, taken up again after a kill."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

import vision
from vision.accuracy.rows import Row
from vision.errors import InputError

RESULTS = "results.jsonl"
PREVIOUS = "results.previous.jsonl"
_RUN = "run.json"


def reader_digest() -> str:
    """SHA-256 over the sources and data of the measuring side, the benchmark left out."""
    root = Path(vision.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*")):
        part = path.relative_to(root).parts
        if path.is_file() and "__pycache__" not in part and part[0] != "accuracy":
            digest.update("/".join(part).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def file_digest(path: Path) -> str:
    """SHA-256 of a file, read in pieces."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


class Results:
    """The rows already there, and the place for the next one.

    Rows are kept only when they are of the same label file and the same reader;
    others are moved aside as ``results.previous.jsonl``.  ``done`` counts the
    rows there are.  A line that a kill left half written is dropped.
    """

    def __init__(self, folder: Path, labels: Path, options: dict[str, object]) -> None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            raise InputError(f"The output folder '{folder}' cannot be made.") from None
        self.path = folder / RESULTS
        run = {"version": vision.__version__, "labels_sha256": file_digest(labels),
               "reader_sha256": reader_digest(), **options}
        note = folder / _RUN
        if self.path.exists() and _content(note) != run:
            os.replace(self.path, folder / PREVIOUS)
        note.write_text(json.dumps(run, indent=1) + "\n", encoding="utf-8")
        self.done = _drop_torn_line(self.path)
        self._handle = self.path.open("a", encoding="utf-8")

    def append(self, *rows: Row) -> None:
        """Write rows that belong together and hand them to the operating system."""
        self._handle.write("".join(row.as_line() + "\n" for row in rows))
        self._handle.flush()
        self.done += len(rows)

    def keep(self, count: int) -> None:
        """Drop all but the first ``count`` rows: those of a group that was not finished."""
        if count == self.done:
            return
        with self.path.open("rb") as handle:
            end = sum(len(handle.readline()) for _ in range(count))
        os.truncate(self.path, end)
        self.done = count

    def close(self) -> None:
        """Close the file."""
        self._handle.close()


def _content(path: Path) -> object:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def _drop_torn_line(path: Path) -> int:
    """Cut what follows the last line end; return the number of whole lines."""
    if not path.exists():
        return 0
    lines = end = 0
    with path.open("rb") as handle:
        for line in handle:
            if line.endswith(b"\n"):
                lines, end = lines + 1, end + len(line)
    if end != path.stat().st_size:
        os.truncate(path, end)
    return lines

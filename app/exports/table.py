"""The record as a CSV table, entry by entry, and back again without loss.

Every column of the chain is there, so the chain can be checked from the table
alone.  UTF-8 with a byte-order mark, comma, CRLF (RFC 4180), so that spreadsheets
open it; text that one would take for a formula gets an apostrophe there
(:mod:`vision.spreadsheet`), which reading back takes away.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

from app.records.chain import Verification, walk
from app.records.content import Entry, entry_from_row
from app.records.errors import DamagedError, NotARecordError
from app.records.schema import CONTENT_COLUMNS
from app.records.standing import standings
from vision.spreadsheet import as_typed, neutral

_SIGNED = ("signer", "signature")
_WHOLE = {"number", "signer", *(name for name, kind in CONTENT_COLUMNS if kind is int)}
_NAMES = ("number", *(name for name, _ in CONTENT_COLUMNS), "previous_hash", "hash", *_SIGNED)
_HELPERS = ("status", "local_time")
#: Columns that are never NULL: an empty cell there is an empty text.
_TEXT = {"note"}
_FREE_TEXT = {"key", "bed", "initials", "identity", "scale", "reason", "note", "payload"}


def write_csv(entries: Iterable[Entry]) -> str:
    """The table of these entries, in the order of the chain.

    Two helper columns come last: ``status`` (as confirmed, corrected, withdrawn: what
    stands now among these entries) and ``local_time``.
    """
    entries = sorted(entries, key=lambda e: e.number)
    known = {e.number for e in entries}
    whole = [e for e in entries if e.refers_to is None or e.refers_to in known]
    status = {e.number: s.status for s in standings(_closed(whole)) for e in s.history}
    out = io.StringIO()
    out.write("\ufeff")
    writer = csv.writer(out)
    writer.writerow([*_NAMES, *_HELPERS])
    for entry in entries:
        row = {**entry.row(), "number": entry.number, "previous_hash": entry.previous_hash,
               "hash": entry.hash, "signer": entry.signer, "signature": entry.signature}
        writer.writerow([*(_cell(name, row[name]) for name in _NAMES),
                         status.get(entry.number, "in part"), entry.happened.local_text])
    return out.getvalue()


def read_csv(text: str) -> tuple[Entry, ...]:
    """Entries from a table written by :func:`write_csv`; NotARecordError for anything else."""
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    if reader.fieldnames is None or not set(_NAMES) - set(_SIGNED) <= set(reader.fieldnames):
        raise NotARecordError("This table was not exported by this software: columns are missing.")
    try:
        return tuple(entry_from_row(_row(row)) for row in reader)
    except (ValueError, KeyError, TypeError, csv.Error, DamagedError):
        raise NotARecordError(
            f"Line {reader.line_num} of the table cannot be read; it was changed.") from None


def verify_csv(text: str) -> Verification:
    """Check the chain in a table of the whole record."""
    return walk({**e.row(), "number": e.number, "previous_hash": e.previous_hash, "hash": e.hash,
                 "signer": e.signer, "signature": e.signature} for e in read_csv(text))


def _closed(entries: list[Entry]) -> list[Entry]:
    """Leave out corrections whose original is not among them."""
    kept: dict[int, Entry] = {}
    for entry in entries:
        if entry.refers_to is None or entry.refers_to in kept:
            kept[entry.number] = entry
    return list(kept.values())


def _cell(name: str, value: Any) -> Any:
    if value is None:
        return ""
    return neutral(str(value)) if name in _FREE_TEXT else value


def _row(cells: dict[str, Any]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for name in _NAMES:
        cell = cells.get(name, "") if name in _SIGNED else cells[name]  # older tables
        if cell == "" and name not in _TEXT:
            row[name] = None
        elif name in _WHOLE:
            row[name] = int(cell)
        else:
            row[name] = as_typed(cell) if name in _FREE_TEXT else cell
    return row

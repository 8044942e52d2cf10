"""The rows of a run as a spreadsheet: ``results.csv``."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import fields
from pathlib import Path

from vision.accuracy.rows import Row
from vision.spreadsheet import neutral

_LAST = ("flags", "reasons", "message", "keys", "surface_px")
_NAMES = [f.name for f in fields(Row) if f.name not in _LAST]
#: Label keys with a column of their own; the rest stays in results.jsonl.
_KEYS = ("tier", "mode", "scale", "fluid", "light", "elevation_deg", "distance_mm", "blur_px",
         "contact_angle_deg", "source", "variation", "strength")


def write_table(rows: Iterable[Row], path: Path) -> None:
    """Write one line per image, in the order given; lists are joined with "; "."""
    with path.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle)
        writer.writerow([*_NAMES, *_LAST[:3], *(f"label_{key}" for key in _KEYS)])
        for row in rows:
            writer.writerow([
                *(_cell(getattr(row, name)) for name in _NAMES),
                *(_cell("; ".join(x)) for x in (row.flags, row.reasons)), _cell(row.message),
                *(_cell(row.keys.get(key)) for key in _KEYS)])


def _cell(value: object) -> object:
    """Text that a spreadsheet would take for a formula is quoted."""
    if value is None:
        return ""
    return neutral(value) if isinstance(value, str) else value

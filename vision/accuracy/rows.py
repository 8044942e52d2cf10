"""What the benchmark keeps of one image: one flat, frozen row, one JSON line."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

#: How a result met the label's expectation.
VERDICTS: dict[str, str] = {
    "read": "read, as expected",
    "refused": "refused, as expected",
    "off-scale": "called off scale, as expected",
    "wide": "read with a wide interval or refused, as expected",
    "refused-though-readable": "refused though readable",
    "off-scale-though-readable": "called off scale though readable",
    "refused-though-off-scale": "refused though the surface is off the scale",
    "off-scale-though-unreadable": "called off scale though to be refused",
    "read-though-unreadable": "read though to be refused",
    "read-though-off-scale": "read though off the scale",
    "error": "stopped by an error",
}


@dataclass(frozen=True)
class Row:
    """The result of one image beside its truth.

    ``error`` is value minus truth in ``unit``, ``error_div`` the same in
    divisions (None for level images, which have no divisions); the ``naive_``
    fields are those of the reading without correction.  ``hit`` says whether
    the interval holds the truth.  ``misread`` is a silent misread: a value was
    given, and it is wrong by more than ``misread_limit`` (in ``unit``), or
    there is no true value to be read at all.  ``surface_px`` is where the reader saw
    the reading line, (x, y) in the full upright picture.  ``message`` is the reason of an
    error row.  ``keys`` is the whole label.
    """

    index: int
    file: str
    kind: str
    unit: str
    expect: str
    status: str
    verdict: str
    misread: bool
    truth: float | None = None
    value: float | None = None
    division: float | None = None
    error: float | None = None
    error_div: float | None = None
    interval_low: float | None = None
    interval_high: float | None = None
    hit: bool | None = None
    naive_value: float | None = None
    naive_error: float | None = None
    naive_error_div: float | None = None
    elevation_deg: float | None = None
    elevation_sd_deg: float | None = None
    elevation_error_deg: float | None = None
    nearer_rim: bool | None = None
    surface_px: tuple[float, float] | None = None
    camera_from: str = ""
    seconds: float = 0.0
    flags: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    message: str = ""
    keys: Mapping[str, Any] = field(default_factory=dict)

    def as_line(self) -> str:
        """The row as one line of JSON, without the line end."""
        return json.dumps(asdict(self), ensure_ascii=False, allow_nan=False)


_NAMES = frozenset(f.name for f in fields(Row))


def row_from(content: Mapping[str, Any]) -> Row:
    """A row from the JSON object of its line; keys of other versions are dropped."""
    known = {k: v for k, v in content.items() if k in _NAMES}
    if known.get("surface_px") is not None:
        known["surface_px"] = tuple(known["surface_px"])
    known["flags"] = tuple(known.get("flags", ()))
    known["reasons"] = tuple(known.get("reasons", ()))
    return Row(**known)


def read_rows(path: str | Path) -> Iterator[Row]:
    """The rows of a ``results.jsonl``, one in memory at a time."""
    with Path(path).open(encoding="utf-8") as handle:
        for text in handle:
            if text.strip():
                yield row_from(json.loads(text))


def verdict(expect: str, status: str) -> str:
    """The key into ``VERDICTS`` for what was expected and what came."""
    if status == "error":
        return "error"
    came = "off-scale" if status in ("below-scale", "above-scale") else status
    if expect == "read":
        return {"read": "read", "refused": "refused-though-readable"}.get(
            came, "off-scale-though-readable")
    if expect == "read-wide":
        return "off-scale-though-readable" if came == "off-scale" else "wide"
    if expect == "refuse":
        return {"refused": "refused", "read": "read-though-unreadable"}.get(
            came, "off-scale-though-unreadable")
    return {"off-scale": "off-scale", "read": "read-though-off-scale"}.get(
        came, "refused-though-off-scale")

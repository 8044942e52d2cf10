"""The rows of a run as columns of numbers: what a summary needs, and no more.

A row takes some 150 bytes here, so 100,000 images take about 15 MB.
"""

from __future__ import annotations

import array
import math
from collections.abc import Mapping
from pathlib import PurePath
from typing import Any

import numpy as np

from vision.accuracy.labels import EXPECTATIONS, is_number
from vision.accuracy.rows import VERDICTS, Row

_NUMBERS = ("truth", "error", "error_div", "naive_error", "naive_error_div", "width",
            "width_div", "true_elevation_deg", "elevation_error_deg", "seconds")
_VERDICTS = tuple(VERDICTS)
_EXPECTATIONS: tuple[str, ...] = EXPECTATIONS
#: A key with more values than this is not grouped by.
_MOST_VALUES = 12
_MISSING = -1

#: The group that tells where the focal length came from; no label key.
CAMERA = "focal length from"

#: Edges of the bins of numeric label keys; the keys of these names are binned.
BINS: dict[str, tuple[float, ...]] = {
    "elevation_deg": (-30, -20, -12, -5, 0, 5, 12, 20, 30),
    "azimuth_deg": (-25, -10, 10, 25),
    "roll_deg": (-6, -2, 2, 6),
    "lean_deg": (-1, 1, 3),
    "distance_mm": (150, 200, 250, 300, 400, 600),
    "blur_px": (0.5, 1.0, 1.5, 2.0, 3.0),
    "contact_angle_deg": (20, 45, 60, 75, 90),
    "px_per_mm": (4, 6, 8, 12, 16),
    "px_per_division": (6, 8, 12, 16, 24),
    "spread_deg": (3, 8, 15, 25),
    "camera_distance_mm": (600, 900, 1200, 1600),
    "horizontal_span_mm": (500, 700, 900),
    "depth_difference_mm": (-100, -30, 30, 100),
    "camera_roll_deg": (-2, -0.5, 0.5, 2),
    "panel_roll_deg": (-0.5, 0, 0.5),
}
#: Keys made by the benchmark itself, grouped by whatever the number of values.
_ALWAYS = frozenset({"setting"})
#: Never a group: they name a picture or repeat the result.
_NO_GROUP = frozenset({"file", "true_value", "true_offset_mm", "division", "rim_value", "notes",
                       "source", "strength"})


def bin_name(key: str, value: float) -> str:
    """The bin of a value, as "low to high" with the key's edges."""
    edges = BINS[key]
    k = sum(value >= e for e in edges)
    if k == 0:
        return f"under {edges[0]:g}"
    if k == len(edges):
        return f"{edges[-1]:g} or more"
    return f"{edges[k - 1]:g} to {edges[k]:g}"


def bin_order(key: str) -> list[str]:
    edges = BINS[key]
    return [bin_name(key, e) for e in (edges[0] - 1, *edges)]


class Columns:
    """Numbers of many rows of one kind, as arrays of equal length."""

    def __init__(self) -> None:
        self.n = 0
        self._numbers = {name: array.array("d") for name in _NUMBERS}
        self._bytes = {name: array.array("b") for name in ("verdict", "misread", "hit", "rim")}
        self._expect = array.array("b")
        self._codes: dict[str, array.array[int]] = {}
        self._values: dict[str, dict[str, int]] = {}
        self._dropped: set[str] = set()

    def add(self, row: Row) -> None:
        """Take in one row."""
        width = None
        if row.interval_low is not None and row.interval_high is not None:
            width = row.interval_high - row.interval_low
        width_div = width / row.division if width is not None and row.division else None
        elevation = row.keys.get("elevation_deg")
        extra = {"width": width, "width_div": width_div,
                 "true_elevation_deg": elevation if is_number(elevation) else None}
        for name in _NUMBERS:
            value = extra[name] if name in extra else getattr(row, name)
            self._numbers[name].append(math.nan if value is None else value)
        self._bytes["verdict"].append(_VERDICTS.index(row.verdict))
        self._bytes["misread"].append(row.misread)
        self._bytes["hit"].append(_MISSING if row.hit is None else row.hit)
        self._bytes["rim"].append(_MISSING if row.nearer_rim is None else row.nearer_rim)
        self._expect.append(_EXPECTATIONS.index(row.expect))
        for key, text in group_texts(row.keys).items():
            self._code(key, text)
        if row.camera_from:
            self._code(CAMERA, row.camera_from)
        self.n += 1

    def _code(self, key: str, text: str) -> None:
        if key in self._dropped:
            return
        codes = self._codes.setdefault(key, array.array("h"))
        values = self._values.setdefault(key, {})
        if text not in values and len(values) >= _MOST_VALUES and (
                key not in BINS and key not in _ALWAYS):
            self._dropped.add(key)
            del self._codes[key], self._values[key]
            return
        codes.extend([_MISSING] * (self.n - len(codes)))
        codes.append(values.setdefault(text, len(values)))

    def number(self, name: str) -> np.ndarray:
        """(n,) float array of a numeric column, NaN where a row has none."""
        return np.array(self._numbers[name])

    def verdicts(self, *names: str) -> np.ndarray:
        """(n,) bool array: rows with one of these verdicts."""
        wanted = [_VERDICTS.index(name) for name in names]
        return np.isin(np.array(self._bytes["verdict"], dtype=np.int8), wanted)

    def expected(self, expect: str) -> np.ndarray:
        """(n,) bool array: rows of which this was expected."""
        return np.array(self._expect) == _EXPECTATIONS.index(expect)

    def truth_of(self, name: str) -> np.ndarray:
        """(n,) int array of "misread", "hit" or "rim": 1, 0, or -1 where not known."""
        return np.array(self._bytes[name], dtype=np.int8)

    def only_value(self, key: str) -> str | None:
        """The one value that every row has of a label key; None otherwise."""
        values = self._values.get(key, {})
        whole = len(self._codes.get(key, ())) == self.n and _MISSING not in self._codes.get(key, ())
        return next(iter(values)) if len(values) == 1 and whole else None

    def groups(self) -> dict[str, dict[str, np.ndarray]]:
        """Label key -> value or bin -> (n,) bool array; keys with one value are left out."""
        out: dict[str, dict[str, np.ndarray]] = {}
        for key in sorted(self._codes, key=_key_order):
            codes = np.array(self._codes[key], dtype=np.int16)
            codes = np.pad(codes, (0, self.n - codes.size), constant_values=_MISSING)
            values = self._values[key]
            if len(values) + bool((codes == _MISSING).any()) < 2:
                continue
            order = list(values) if key in _ALWAYS else (
                [t for t in bin_order(key) if t in values] if key in BINS
                else sorted(values, key=_value_order))
            out[key] = {text: codes == values[text] for text in order}
        return out


def group_texts(keys: Mapping[str, Any]) -> dict[str, str]:
    """The groups an image belongs to: label key -> text of the value or bin."""
    out = {}
    for key, value in keys.items():
        if key in _NO_GROUP or value is None or value == "":
            continue
        if key == "scale":
            out[key] = PurePath(str(value)).stem
        elif is_number(value):
            out[key] = bin_name(key, float(value)) if key in BINS else f"{value:g}"
        elif isinstance(value, bool):
            out[key] = "yes" if value else "no"
        elif isinstance(value, str):
            out[key] = value
    return out


_FIRST = ("tier", "mode", "scale", "fluid", "elevation_deg", "distance_mm", "light", "blur_px",
          "contact_angle_deg")


def _key_order(key: str) -> tuple[int, str]:
    return (_FIRST.index(key) if key in _FIRST else len(_FIRST), key)


def _value_order(text: str) -> tuple[int, float, str]:
    tiers = ("easy", "typical", "hard", "unreadable")
    if text in tiers:
        return (0, tiers.index(text), text)
    try:
        return (1, float(text), text)
    except ValueError:
        return (2, 0.0, text)

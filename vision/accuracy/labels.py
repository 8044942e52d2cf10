"""The label file of an image set: JSON lines, one image a line, read as a stream."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any, Literal, TypeGuard

from vision.errors import LabelFileError
from vision.plain_file import open_plain, parse_json
from vision.scale_file.fields import MAX_MAGNITUDE, shown

Point = tuple[float, float]
Kind = Literal["volume", "level"]
#: "read-wide": too little is seen for a good reading; a refusal is right, and so is a
#: reading whose interval is wide enough to hold the truth.
Expect = Literal["read", "refuse", "off-scale", "read-wide"]

EXPECTATIONS: tuple[Expect, ...] = ("read", "refuse", "off-scale", "read-wide")

#: A label is a few hundred characters.
MAX_LINE_BYTES = 1_000_000

#: Keys by which a line without ``true_offset_mm`` is still known as a level image.
_LEVEL_KEYS = ("zero_card_mm", "landmark_card_mm", "mode", "depth_difference_mm")


@dataclass(frozen=True)
class Label:
    """One labelled image.

    ``index`` counts labels from 0, ``line`` is the line in the file from 1.
    ``truth`` is the true value in the scale's unit (volume) or the true offset
    in mm (level); None where the label gives none, which only an image that is
    to be refused may do.  ``scale`` is a file path or the name of a shipped
    scale, None for level images.  ``keys`` holds the whole line, unknown keys
    included.  ``lens`` is the path of the lens file that the label names.
    """

    index: int
    line: int
    file: str
    path: Path
    kind: Kind
    expect: Expect
    truth: float | None
    scale: str | None
    keys: Mapping[str, Any]
    lens: str | None = None

    @property
    def tier(self) -> str | None:
        """The tier named by the label, if it names one."""
        tier = self.keys.get("tier")
        return None if tier is None else str(tier)


def read_labels(path: str | Path) -> Iterator[Label]:
    """Yield the labels of a file, one line in memory at a time.

    Blank lines are skipped.  Raises ``LabelFileError`` naming the line for
    content that cannot be used; whether the pictures exist is not looked at.
    """
    path = Path(path)
    try:
        handle = open_plain(path)
    except OSError:
        raise LabelFileError(f"The label file '{path}' cannot be opened.") from None
    with handle:
        index = 0
        for number in count(start=1):
            line = handle.readline(MAX_LINE_BYTES + 1)
            if not line:
                return
            if len(line) > MAX_LINE_BYTES:
                raise LabelFileError(f"Line {number} of the label file is longer than"
                                     f" {MAX_LINE_BYTES // 1000} kB; it cannot be a label.")
            try:
                text = line.decode("utf-8")
            except UnicodeDecodeError:
                raise LabelFileError(f"The label file '{path}' is not UTF-8 text.") from None
            if text.strip():
                yield parse_label(text, path.parent, index, number)
                index += 1


def parse_label(text: str, folder: Path, index: int, line: int) -> Label:
    """One line of a label file; paths are relative to ``folder``."""

    def refuse(what: str) -> LabelFileError:
        return LabelFileError(f"Line {line} of the label file: {what}")

    try:
        keys = parse_json(text, parse_constant=_not_a_number)
    except ValueError as err:
        raise refuse(f"this is not one JSON object ({err}).") from None
    if not isinstance(keys, dict):
        raise refuse("this is not one JSON object.")
    file = keys.get("file")
    if not _is_name(file):
        raise refuse("'file' must name the picture.")
    expect = keys.get("expect", "read")
    if expect not in EXPECTATIONS:
        raise refuse("'expect' must be read, refuse, off-scale or read-wide, not"
                     f" {shown(expect)}.")
    kind = _kind(keys)
    if kind is None:
        raise refuse("'kind' must be volume or level.")
    key = "true_value" if kind == "volume" else "true_offset_mm"
    truth = keys.get(key)
    if truth is None and expect == "read":
        raise refuse(f"'{key}' is missing.")
    if truth is not None and not is_number(truth):
        raise refuse(f"'{key}' must be a number up to {MAX_MAGNITUDE:g}, not {shown(truth)}.")
    scale = keys.get("scale")
    if kind == "volume":
        if not _is_name(scale):
            raise refuse("'scale' must name a scale file or a shipped scale.")
        beside = folder / scale
        scale = str(beside) if os.path.exists(beside) else scale
    else:
        scale = None
    lens = keys.get("lens")
    if lens is not None and not _is_name(lens):
        raise refuse("'lens' must name a lens file.")
    return Label(index, line, file, folder / file, kind, expect,
                 None if truth is None else float(truth), scale, keys,
                 None if lens is None else str(folder / lens))


def _kind(keys: Mapping[str, Any]) -> Kind | None:
    """volume or level, as stated or as the keys show; None for an unknown kind."""
    stated = keys.get("kind")
    if stated in ("volume", "level"):
        return stated  # type: ignore[no-any-return]
    if stated is not None:
        return None
    if "true_offset_mm" in keys:
        return "level"
    if "scale" not in keys and any(k in keys for k in _LEVEL_KEYS):
        return "level"
    return "volume"


def _not_a_number(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def point_of(value: object) -> Point | None:
    """(x, y) from a label's two-number list, None for anything else."""
    if isinstance(value, (list, tuple)) and len(value) == 2 and all(map(is_number, value)):
        return float(value[0]), float(value[1])
    return None


def is_number(value: object) -> TypeGuard[float]:
    """True for a number that can be true of a picture (True and False are no numbers here)."""
    # Compared as it is: as a float, one of 400 digits would overflow.
    return (isinstance(value, (int, float)) and not isinstance(value, bool)
            and -MAX_MAGNITUDE <= value <= MAX_MAGNITUDE)


def _is_name(value: object) -> TypeGuard[str]:
    """Whether a value can name a file."""
    if not isinstance(value, str) or not value or "\0" in value:
        return False
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:  # half a character, as an escape in JSON can make it
        return False
    return True

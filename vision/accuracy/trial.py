"""A reading trial: people read the labelled pictures blind, in random order, timed."""

from __future__ import annotations

import hashlib
import json
import math
import random
import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from vision.errors import InputError, LabelFileError
from vision.plain_file import open_plain, parse_json

_CODE = re.compile(r"[A-Za-z0-9_-]{1,16}")


@dataclass(frozen=True)
class Attempt:
    """One reading by one person.  ``value`` is in the scale's unit, None for "cannot be
    read"; ``repeat`` counts from 0; ``seconds`` run from showing the picture to the answer;
    ``at`` is the time in UTC, ISO 8601; ``zoom`` says that the reader had all pixels of the
    picture and could come nearer (readings kept by earlier pages had neither)."""

    file: str
    reader: str
    repeat: int
    value: float | None
    seconds: float
    at: str
    zoom: bool = False


def check_reader_code(code: str) -> str:
    """The code, cut of blanks and in capitals, so that "r07" on a phone is no other reader
    than "R07"; a name is no code, but only its form can be checked."""
    code = code.strip().upper()
    if not _CODE.fullmatch(code):
        raise InputError("A reader code is 1 to 16 letters, digits, - or _, for example R07.")
    return code


def plan(files: Sequence[str], reader: str, repeats: int) -> list[tuple[str, int]]:
    """The (file, repeat) tasks of one reader, in an order of their own.

    Every round shows every picture once; a new round begins only when the last
    is complete, so the same picture does not come twice in a row (for two
    pictures or more).  The order follows from the reader's code and the files,
    so an interrupted trial goes on in the same order.
    """
    rng = random.Random(hashlib.sha256("\n".join([reader, *files]).encode()).digest())
    out: list[tuple[str, int]] = []
    for repeat in range(repeats):
        order = list(files)
        rng.shuffle(order)
        if out and len(order) > 1 and order[0] == out[-1][0]:
            order[0], order[-1] = order[-1], order[0]
        out += [(file, repeat) for file in order]
    return out


def remaining(tasks: Sequence[tuple[str, int]], reader: str,
              attempts: Sequence[Attempt]) -> list[tuple[str, int]]:
    """The tasks that this reader has not answered yet, in order."""
    done = {(a.file, a.repeat) for a in attempts if a.reader.upper() == reader.upper()}
    return [task for task in tasks if task not in done]


def append_attempt(path: Path, attempt: Attempt) -> None:
    """Add one reading to the file; nothing that stands there is changed."""
    if attempt.value is not None and not math.isfinite(attempt.value):
        raise InputError("A reading must be a number.")
    with path.open("a", encoding="utf-8") as handle:
        handle.write(json.dumps(asdict(attempt), ensure_ascii=False) + "\n")


def read_attempts(path: str | Path) -> Iterator[Attempt]:
    """The readings of a file, one in memory at a time; none when there is no file."""
    path = Path(path)
    if not path.exists():
        return
    try:
        handle = open_plain(path)
    except OSError:
        raise LabelFileError(f"The readings '{path}' cannot be opened.") from None
    with handle:
        for line, text in enumerate(handle, start=1):
            if not text.strip():
                continue
            try:
                yield _attempt(parse_json(text))
            except (ValueError, TypeError, KeyError, OverflowError):
                raise LabelFileError(f"Line {line} of '{path.name}' is not a reading.") from None


def _attempt(c: dict[str, object]) -> Attempt:
    value = c["value"]
    if value is not None:
        value = float(value)  # type: ignore[arg-type]
        if not math.isfinite(value):
            raise ValueError
    return Attempt(str(c["file"]), str(c["reader"]), int(c["repeat"]),  # type: ignore[call-overload]
                   value, float(c["seconds"]), str(c["at"]),  # type: ignore[arg-type]
                   c.get("zoom") is True)

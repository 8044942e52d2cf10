"""An hour's round at one bed while it is under way: who is at it, and how far.

Kept in a small file per bed, so that the ward sees it and a reload or a restart finds it
again.  It is not the record: it holds no photo, no reading and no value.  Pure but for the
file: no Streamlit, no database.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from app.records import Moment
from app.records.codes import normal_bed
from vision.errors import CountersightError
from vision.output import reading_due
from vision.output.model import hm, hm_ahead
from vision.plain_file import private_folder

FORMAT = 2
#: Minutes between readings where the order names none: hourly (common practice, no source).
USUAL_MINUTES = 60
#: Minutes after which a check is due again where the order names none: once in a shift of
#: eight hours (common practice, no source).
CHECK_MINUTES = 8 * 60

StepName = Literal["photo", "own", "both"]
#: How far a round is, in words.
STEPS: dict[StepName, str] = {"photo": "before the photo", "own": "own reading",
                              "both": "both readings, not confirmed"}
#: What can be left out with a reason, in the words in which the record names it.
LEFT_OUT = {"level": "level check", "setting": "setting against the order",
            "drain": "drain state", "read": "chamber reading", "empty": "emptying the chamber"}


class RoundError(CountersightError):
    """The state of a round that cannot be kept or read; the record is not touched by it."""


@dataclass(frozen=True)
class Round:
    """One round: ``by`` whose initials, as far as they are known, ``at`` how far.

    ``after`` is the number of the last entry on record when it began: what is newer came
    meanwhile.
    """

    bed: str
    began: Moment
    after: int
    id: str
    by: str = ""
    at: StepName = "photo"

    @classmethod
    def begin(cls, bed: str, now: Moment, after: int, by: str = "") -> Round:
        """A new round with nothing done."""
        return cls(normal_bed(bed), now, after, uuid.uuid4().hex, by)

    def moved(self, at: StepName, by: str = "") -> Round:
        """The same round at another step."""
        return replace(self, at=at, by=by or self.by)


def next_due(last_reading: Moment, due_minutes: Decimal | None,
             due_from: datetime | None = None) -> tuple[Moment, str]:
    """When the next reading is due, and in words where that comes from.

    ``due_from`` is since when that time between readings is ordered: nothing was due by it before.
    """
    minutes = float(due_minutes) if due_minutes is not None else float(USUAL_MINUTES)
    due = reading_due(last_reading.local, minutes, due_from)
    order = "your new order" if due == due_from else "your order"
    why = (f"{order}: every {due_minutes} min" if due_minutes is not None
           else f"every {USUAL_MINUTES} min, common practice; the order names no interval")
    return Moment.of(due), why


def due_words(due: Moment, now: datetime) -> tuple[str, str]:
    """When a reading is due: in a few words, and since or until when."""
    late = minutes(now - due.utc)
    if late < 0:
        return f"due in {lasting(-late)}", f"at {hm_ahead(due.local, now)}"
    return ("due now" if late == 0 else f"overdue by {lasting(late)}",
            f"since {hm(due.local, now)}")


def minutes(time: timedelta) -> int:
    """A length of time in whole minutes."""
    return int(time.total_seconds() // 60)


def lasting(minutes: int) -> str:
    """A length of time in words."""
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


class RoundBook:
    """The rounds under way, one file a bed in ``folder``."""

    def __init__(self, folder: str | Path) -> None:
        self._folder = Path(folder)

    def get(self, bed: str) -> Round | None:
        """The round under way at a bed; None when there is none.

        Raises RoundError when its file cannot be read.
        """
        path = self._path(bed)
        try:
            text = path.read_text(encoding="utf-8")
        except FileNotFoundError:
            return None
        except (OSError, UnicodeDecodeError):
            raise RoundError(_unreadable(bed)) from None
        found = _from_json(text, bed)
        if found.bed != normal_bed(bed):
            raise RoundError(_unreadable(bed))
        return found

    def all(self) -> tuple[Round, ...]:
        """Every round under way that can be read, by bed."""
        return tuple(sorted((r for _, r in self._rounds()), key=lambda r: r.bed))

    def _rounds(self) -> Iterator[tuple[Path, Round]]:
        for path in sorted(self._folder.glob("*.json")):
            try:
                yield path, _from_json(path.read_text(encoding="utf-8"), "?")
            except (OSError, UnicodeDecodeError, RoundError):
                continue  # its own bed says so when it is opened

    def begin(self, round_: Round) -> None:
        """Keep a new round; RoundError when one is under way at this bed."""
        if self.get(round_.bed) is not None:
            raise RoundError(f"A round is under way at bed {round_.bed} already; go on with it.")
        self._write(round_)

    def keep(self, round_: Round) -> None:
        """Keep the new state of a round; RoundError when it is another one or over meanwhile."""
        there = self.get(round_.bed)
        if there is None or there.id != round_.id:
            raise RoundError(f"This round at bed {round_.bed} is over or was begun anew elsewhere; "
                             "load the page again.")
        self._write(round_)

    def close(self, bed: str) -> None:
        """The round is over: its file goes.  One that cannot be read goes as well."""
        try:
            self._path(bed).unlink(missing_ok=True)
        except OSError:
            raise RoundError(_unwritable(bed)) from None

    def _path(self, bed: str) -> Path:
        # A bed code may hold a slash, and some file systems tell no case apart.
        name = hashlib.sha256(normal_bed(bed).encode()).hexdigest()[:32]
        path = self._folder / f"{name}.json"
        # One begun before a bed had one spelling lies under another name.
        return path if path.exists() else next(
            (p for p, r in self._rounds() if r.bed == normal_bed(bed)), path)

    def _write(self, round_: Round) -> None:
        """All or nothing: a new file beside the old one, then put in its place."""
        name = ""
        try:
            private_folder(self._folder)
            with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=self._folder,
                                             suffix=".part", delete=False) as file:
                name = file.name
                json.dump(_to_json(round_), file, ensure_ascii=False)
                file.flush()
                os.fsync(file.fileno())
            os.replace(name, self._path(round_.bed))
        except OSError:
            if name:
                Path(name).unlink(missing_ok=True)
            raise RoundError(_unwritable(round_.bed)) from None


def _unreadable(bed: str) -> str:
    return (f"The state of the round at bed {bed} cannot be read. What is on record is untouched; "
            "begin the round anew.")


def _unwritable(bed: str) -> str:
    return (f"The state of the round at bed {bed} cannot be kept: is the disk full or the data "
            "folder read-only? What is on record is untouched.")


def _to_json(r: Round) -> dict[str, Any]:
    return {"format": FORMAT, "id": r.id, "bed": r.bed, "began": [r.began.utc_text,
            r.began.offset_min], "after": r.after, "by": r.by, "at": r.at}


def _from_json(text: str, bed: str) -> Round:
    try:
        d = json.loads(text)
        at = d.get("at", "photo")  # the form before had steps of its own
        if d["format"] not in (1, FORMAT) or at not in STEPS:
            raise ValueError
        return Round(normal_bed(d["bed"]), Moment.parse(str(d["began"][0]), int(d["began"][1])),
                     int(d["after"]), str(d["id"]), str(d.get("by", "")), at)
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError,
            CountersightError):
        raise RoundError(_unreadable(bed)) from None

"""A round at one bed while it is under way: which steps are behind, and since when it collects.

Kept in a small file per bed, so that a closed page, a reload or a restart loses
nothing.  It is not the record: it holds no photo, no reading and no value.  What
was confirmed or skipped is read from the record itself, so the two cannot
disagree.  Pure but for the file: no Streamlit, no database.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from app.records import Moment, Standing
from app.records.codes import normal_bed
from vision.errors import CountersightError

FORMAT = 1
#: Minutes between readings where the order names none: hourly (common practice, no source).
USUAL_MINUTES = 60
LONGEST_MINUTES = 24 * 60

StepName = Literal["level", "setting", "drain", "collect", "read", "output", "empty"]
#: The steps in the order of the work, with the words by which the record names a skipped one.
STEPS: dict[StepName, str] = {
    "level": "level check", "setting": "setting against the order", "drain": "drain state",
    "collect": "collecting", "read": "chamber reading", "output": "output and totals",
    "empty": "emptying the chamber",
}
#: What the record says when a round is broken off: everything still open was skipped.
REST = "rest of the round"

_SUBJECTS = {"level": "level-check", "setting": "setting-check", "read": "volume-reading"}
_EVENTS = {"drain": ("drain-opened", "drain-closed"), "empty": ("chamber-emptied",)}


class RoundError(CountersightError):
    """The state of a round that cannot be kept or read; the record is not touched by it."""


@dataclass(frozen=True)
class Round:
    """One round.

    ``after`` is the number of the last entry on record when it began: what is
    newer belongs to the round.  ``collect_since`` and ``collect_until`` bound the
    collecting, ``collect_minutes`` is how long it is meant to take, and
    ``collect_after`` the last entry on record when it ended.  ``seen`` are steps
    that were gone through and leave no entry.  ``by`` are the initials of who began it.
    """

    bed: str
    began: Moment
    after: int
    id: str
    collect_since: Moment | None = None
    collect_minutes: int | None = None
    collect_until: Moment | None = None
    collect_after: int | None = None
    seen: tuple[StepName, ...] = ()
    by: str = ""

    @classmethod
    def begin(cls, bed: str, now: Moment, after: int, by: str = "") -> Round:
        """A new round with nothing done."""
        return cls(normal_bed(bed), now, after, uuid.uuid4().hex, by=by)

    def collecting(self, since: Moment, minutes: int) -> Round:
        """The same round, collecting since then for so many minutes."""
        if not 1 <= minutes <= LONGEST_MINUTES:
            raise RoundError(f"Collect for 1 to {LONGEST_MINUTES} minutes.")
        return replace(self, collect_since=since, collect_minutes=minutes, collect_until=None,
                       collect_after=None)

    def collected(self, now: Moment, after: int) -> Round:
        """The same round with the collecting at its end; a second press changes nothing."""
        if self.collect_since is None or self.collect_until is not None:
            return self
        return replace(self, collect_until=now, collect_after=after)

    def with_seen(self, step: StepName) -> Round:
        """The same round with a step gone through that leaves no entry."""
        return self if step in self.seen else replace(self, seen=(*self.seen, step))


@dataclass(frozen=True)
class StepState:
    """How a step stands: ``status`` with the entry that says so, if there is one."""

    name: StepName
    status: Literal["open", "done", "skipped"]
    entry: int | None = None
    at: Moment | None = None
    reason: str = ""

    @property
    def sentence(self) -> str:
        """The step in words, for a list."""
        what = STEPS[self.name][0].upper() + STEPS[self.name][1:]
        when = f" at {self.at.local:%H:%M}" if self.at is not None else ""
        number = f", entry {self.entry}" if self.entry is not None else ""
        if self.status == "skipped":
            return f"{what}: SKIPPED{when}, reason: {self.reason}{number}"
        if self.status == "done" and self.reason:
            return f"{what}: {self.reason}"
        return f"{what}: {'done' if self.status == 'done' else 'still open'}{when}{number}"


def progress(round_: Round, standings: Iterable[Standing]) -> tuple[StepState, ...]:
    """How every step stands, from what is on record since the round began.

    ``standings`` are of the round's bed.  A withdrawn entry opens its step again.
    """
    new = [s for s in standings if s.original.number > round_.after and not s.withdrawn]
    skips = {s.entry.payload.get("step"): s for s in new if s.entry.subject == "skipped-step"}
    return tuple(_state(name, round_, new, skips) for name in STEPS)


def current_step(states: Iterable[StepState]) -> StepName | None:
    """The first step that is still open; None when the round is at its end."""
    return next((s.name for s in states if s.status == "open"), None)


def entry_of(states: Iterable[StepState], name: StepName) -> int | None:
    """The entry that a step of this round left, if it left one that is no skip."""
    return next((s.entry for s in states if s.name == name and s.status == "done"), None)


def _state(name: StepName, round_: Round, new: list[Standing],
           skips: dict[Any, Standing]) -> StepState:
    found = [s for s in new if s.entry.subject == _SUBJECTS.get(name)
             or s.entry.event in _EVENTS.get(name, ())]
    if name == "read" and round_.collect_after is not None:
        found = [s for s in found if s.original.number > (round_.collect_after or 0)]
    if name == "empty":
        reads = [s.original.number for s in new if s.entry.subject == "volume-reading"]
        found = [s for s in found if s.original.number > max(reads, default=0)]
    if found:
        return StepState(name, "done", found[-1].original.number, found[-1].entry.happened)
    if name == "collect" and round_.collect_until is not None:
        return StepState(name, "done", None, round_.collect_until)
    if name in round_.seen:  # gone through without an entry: an emptying was then not done
        not_done = "not emptied in this round" if name == "empty" else ""
        return StepState(name, "done", reason=not_done)
    skip = skips.get(STEPS[name]) or skips.get(REST)
    if skip is not None:
        return StepState(name, "skipped", skip.original.number, skip.entry.happened,
                         skip.entry.reason or "")
    return StepState(name, "open")


@dataclass(frozen=True)
class Timer:
    """How the collecting stands at a moment; ``left`` is negative when it is over time."""

    since: Moment
    due: Moment
    passed: timedelta
    left: timedelta

    @property
    def sentence(self) -> str:
        """The timer in words with the clock times, 24 hours."""
        start = f"Collecting since {self.since.local:%H:%M}: {_span(self.passed)} so far."
        if self.left <= timedelta(0):
            return f"{start} Time is up since {self.due.local:%H:%M}: read now."
        return f"{start} Read at {self.due.local:%H:%M}, in {_span(self.left)}."


def timer(round_: Round, now: Moment) -> Timer | None:
    """The timer of a round that collects; None when it does not."""
    if round_.collect_since is None or round_.collect_minutes is None \
            or round_.collect_until is not None:
        return None
    since = round_.collect_since
    due = Moment(since.utc + timedelta(minutes=round_.collect_minutes), since.offset_min)
    passed = max(now.utc - since.utc, timedelta(0))
    return Timer(since, due, passed, due.utc - now.utc)


def next_due(last_reading: Moment, due_minutes: Decimal | None) -> tuple[Moment, str]:
    """When the next reading is due, and in words where that comes from."""
    minutes = float(due_minutes) if due_minutes is not None else float(USUAL_MINUTES)
    at = Moment(last_reading.utc + timedelta(minutes=minutes), last_reading.offset_min)
    why = (f"your order: every {due_minutes} min" if due_minutes is not None
           else f"every {USUAL_MINUTES} min, common practice; the order names no interval")
    return at, why


def _span(time: timedelta) -> str:
    minutes, seconds = divmod(int(time.total_seconds()), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min" if minutes else f"{seconds} s"


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
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
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
    return {"format": FORMAT, "id": r.id, "bed": r.bed, "began": _pair(r.began), "after": r.after,
            "collect_since": _pair(r.collect_since), "collect_minutes": r.collect_minutes,
            "collect_until": _pair(r.collect_until), "collect_after": r.collect_after,
            "seen": list(r.seen), "by": r.by}


def _from_json(text: str, bed: str) -> Round:
    try:
        d = json.loads(text)
        if d["format"] != FORMAT:
            raise ValueError
        began = _moment(d["began"])
        if began is None:
            raise ValueError
        return Round(
            normal_bed(d["bed"]), began, int(d["after"]), str(d["id"]), _moment(d["collect_since"]),
            None if d["collect_minutes"] is None else int(d["collect_minutes"]),
            _moment(d["collect_until"]),
            None if d["collect_after"] is None else int(d["collect_after"]),
            tuple(name for name in STEPS if name in d["seen"]), str(d.get("by", "")))
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError,
            CountersightError):
        raise RoundError(_unreadable(bed)) from None


def _pair(m: Moment | None) -> list[Any] | None:
    return None if m is None else [m.utc_text, m.offset_min]


def _moment(pair: Any) -> Moment | None:
    return None if pair is None else Moment.parse(str(pair[0]), int(pair[1]))

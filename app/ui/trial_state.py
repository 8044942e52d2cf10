"""Where a reader stands in a reading trial.  No widgets here."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from vision.accuracy.labels import Label, read_labels
from vision.accuracy.trial import (
    Attempt,
    append_attempt,
    check_reader_code,
    plan,
    read_attempts,
    remaining,
)
from vision.errors import InputError
from vision.scale_file.scale import Scale, load_scale

LABELS, READINGS = "labels.jsonl", "readings.jsonl"


def trial_sets(folder: Path) -> list[Path]:
    """The sets laid out for trials: folders with a label file, by name."""
    return sorted(p.parent for p in folder.glob(f"*/{LABELS}"))


@dataclass
class TrialState:
    """One reader at one set.  ``left`` holds the (file, repeat) tasks still to come.

    The true values never leave this object: the page asks for picture, scale
    and count only.
    """

    folder: Path | None = None
    reader: str = ""
    left: list[tuple[str, int]] = field(default_factory=list)
    total: int = 0
    problem: str = ""
    late: str = ""
    shown_at: float | None = None
    clock: Callable[[], float] = time.monotonic
    _labels: dict[str, Label] = field(default_factory=dict)

    @property
    def running(self) -> bool:
        """A reader has begun and is not yet at the end."""
        return self.folder is not None and bool(self.left)

    @property
    def finished(self) -> bool:
        """A reader has come to the end."""
        return self.folder is not None and not self.left

    @property
    def task_key(self) -> str:
        """Names the task in hand, so that a field never carries over to the next."""
        return f"trial-{self.reader}-{self.total - len(self.left)}"

    def begin(self, folder: Path, code: str, repeats: int) -> None:
        """Start, or go on where this reader stopped.  Raises one of our errors."""
        code = check_reader_code(code)
        labels = {x.file: x for x in read_labels(folder / LABELS) if x.kind == "volume"}
        if not labels:
            raise InputError("This set holds no picture of a chamber.")
        tasks = plan(list(labels), code, repeats)
        self.left = remaining(tasks, code, list(read_attempts(folder / READINGS)))
        self.folder, self.reader, self.total = folder, code, len(tasks)
        self._labels, self.problem, self.late, self.shown_at = labels, "", "", None

    def picture(self) -> Path:
        """The picture in hand."""
        return self._labels[self.left[0][0]].path

    def scale(self) -> Scale:
        """The scale of the picture in hand."""
        return load_scale(str(self._labels[self.left[0][0]].scale))

    def show(self) -> None:
        """The picture is on the screen: time runs from the first call for it."""
        if self.shown_at is None:
            self.shown_at = self.clock()

    def answer(self, value: float | None) -> None:
        """Keep the reading (None: cannot be read) and go to the next picture.

        Not where this reader read it meanwhile on another device, or it would count twice;
        ``late`` says so then.
        """
        if self.folder is None or not self.left or self.shown_at is None:
            return
        left = remaining(self.left, self.reader, list(read_attempts(self.folder / READINGS)))
        if left[:1] != self.left[:1]:
            self.left, self.shown_at, self.problem = left, None, ""
            self.late = (f"{self.reader} had read that picture on another device meanwhile: the "
                         "first reading stays.")
            return
        file, repeat = self.left[0]
        seconds = round(self.clock() - self.shown_at, 2)
        append_attempt(self.folder / READINGS, Attempt(
            file, self.reader, repeat, value, seconds,
            datetime.now(UTC).isoformat("T", "seconds"), zoom=True))
        self.left.pop(0)
        self.shown_at, self.problem, self.late = None, "", ""

    def leave(self) -> None:
        """Stop here; what was read is kept."""
        self.folder, self.left, self.shown_at = None, [], None
        self.problem = self.late = ""

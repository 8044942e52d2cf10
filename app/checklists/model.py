"""What a checklist is."""

from __future__ import annotations

from dataclasses import dataclass

from vision.errors import CountersightError

#: What a line says about itself when nothing is published for it.
NO_SOURCE = "common practice, no source"


class ChecklistFileError(CountersightError):
    """A checklist file that cannot be used; the message names the place."""


@dataclass(frozen=True)
class Timer:
    """A waiting time beside a line: at least ``shortest_s``, usually up to ``longest_s``."""

    shortest_s: int
    longest_s: int

    @property
    def words(self) -> str:
        """'30 to 60 s' or '30 s'."""
        if self.shortest_s == self.longest_s:
            return f"{self.shortest_s} s"
        return f"{self.shortest_s} to {self.longest_s} s"


@dataclass(frozen=True)
class Line:
    """One reminder, where it comes from, and a waiting time if it has one."""

    text: str
    source: str
    timer: Timer | None = None


@dataclass(frozen=True)
class Checklist:
    """One list: ``name`` is what pages ask for, ``title`` what people see."""

    name: str
    title: str
    lines: tuple[Line, ...]

"""What stands now: every entry with its corrections applied, and its whole history kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from app.records.content import Entry
from app.records.errors import DamagedError


@dataclass(frozen=True)
class Standing:
    """One thing on record as it stands.

    ``entry`` carries the values that count: the original's, or the last
    correction's.  ``history`` is every entry about it in the order they were made
    (the original first, a withdrawal last).
    """

    entry: Entry
    history: tuple[Entry, ...]

    @property
    def original(self) -> Entry:
        """The entry as first confirmed."""
        return self.history[0]

    @property
    def corrected(self) -> bool:
        """True when at least one correction was made."""
        return any(e.kind == "correction" for e in self.history)

    @property
    def withdrawn(self) -> bool:
        """True when it was taken back; it then counts nowhere."""
        return self.history[-1].kind == "withdrawal"

    @property
    def status(self) -> str:
        """"withdrawn", "corrected" or "as confirmed"."""
        return ("withdrawn" if self.withdrawn else "corrected" if self.corrected
                else "as confirmed")


def standings(entries: Iterable[Entry]) -> tuple[Standing, ...]:
    """Group entries with what was later said about them, in the order they happened.

    Raises DamagedError when an entry speaks about one that is not among them.
    """
    histories: dict[int, list[Entry]] = {}
    root: dict[int, int] = {}
    for entry in sorted(entries, key=lambda e: e.number):
        if entry.refers_to is not None and entry.refers_to not in root:
            raise DamagedError(
                f"Entry {entry.number} speaks about entry {entry.refers_to}, which is missing. "
                "'countersight verify' says where the record is broken.")
        first = entry.number if entry.refers_to is None else root[entry.refers_to]
        root[entry.number] = first
        histories.setdefault(first, []).append(entry)
    made = []
    for history in histories.values():
        stands = next(e for e in reversed(history) if e.kind != "withdrawal")
        made.append(Standing(stands, tuple(history)))
    return tuple(sorted(made, key=lambda s: (s.entry.happened.utc, s.original.number)))

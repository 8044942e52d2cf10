"""Is the record whole?  The chain walked from the first entry to the last."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from app.records.canonical import FIRST_LINK, link
from app.records.schema import CONTENT_COLUMNS


@dataclass(frozen=True)
class Verification:
    """Outcome of a check of the whole chain.

    ``entries`` is how many were found whole before the first fault (all of them,
    if ``ok``); ``head`` is the hash of the last whole entry: noted on paper or
    elsewhere it also shows when entries were cut off at the end.  ``broken`` is
    the number of the first faulty entry, ``fault`` what is wrong with it.
    """

    ok: bool
    entries: int
    head: str
    sentence: str
    broken: int | None = None
    fault: str | None = None


def content_hash(row: Mapping[str, Any]) -> str:
    """The hash that a row must have, from its content, its number and its link."""
    content = {name: row[name] for name, _ in CONTENT_COLUMNS}
    content["number"] = row["number"]
    return link(row["previous_hash"], content)


def walk(rows: Iterable[Mapping[str, Any]], *, missing_guards: Iterable[str] = (),
         expected: tuple[int, str] | None = None) -> Verification:
    """Check rows in the order of their numbers.

    ``expected`` is (number, first digits of the hash) noted earlier: that entry must
    still be there.
    """
    head, count, seen_expected = FIRST_LINK, 0, expected is None
    for row in rows:
        number, want = row["number"], count + 1
        fault = None
        if number > want:
            return _broken(want, count, head, f"entry {want} is missing; it was removed by hand")
        if number < want:
            fault = "its number comes twice"
        elif row["previous_hash"] != head:
            fault = "it does not follow from the entry before it; one of the two was exchanged"
        elif row["hash"] != content_hash(row):
            fault = "its content is not what was confirmed; it was changed by hand"
        if fault:
            return _broken(number, count, head, fault)
        head, count = row["hash"], count + 1
        if expected is not None and count == expected[0]:
            if not head.startswith(expected[1]):
                return _broken(count, count - 1, row["previous_hash"],
                               "its hash is not the one noted earlier; the chain was rewritten")
            seen_expected = True
    if not seen_expected and expected is not None:
        return _broken(count + 1, count, head,
                       f"entry {count + 1} is missing; {expected[0]} entries were noted earlier")
    missing = sorted(missing_guards)
    if missing:
        return Verification(False, count, head,
                            f"The {count} entries are whole, but the database's own guard is gone "
                            f"({', '.join(missing)}): it could be changed unnoticed from now on.",
                            fault="guards missing")
    words = "The record is empty." if not count else (
        "The 1 entry is whole." if count == 1 else f"All {count} entries are whole.")
    if count:
        words += f" Last entry's mark: {head[:12]}."
    return Verification(True, count, head, words)


def _broken(number: int, count: int, head: str, fault: str) -> Verification:
    return Verification(
        False, count, head,
        f"The record is broken at entry {number}: {fault}. The {count} entries before it are "
        "whole. Keep a copy as it is and tell who is responsible for the record.",
        broken=number, fault=fault)

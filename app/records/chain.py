"""Is the record whole?  The chain walked from the first entry to the last."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from app.records.canonical import FIRST_LINK, link
from app.records.errors import ConfirmError
from app.records.kinds import STATION_KEY
from app.records.schema import CONTENT_COLUMNS
from app.records.station_key import entry_signed


@dataclass(frozen=True)
class Station:
    """A station's key: the entry that holds it, its public half in 64 hexadecimal digits, and
    how many entries carry its signature."""

    entry: int
    public: str
    signed: int = 0


@dataclass(frozen=True)
class Noted:
    """The number of an entry and the first digits of its hash, ``where`` they were noted."""

    entry: int
    mark: str
    where: str


@dataclass(frozen=True)
class Verification:
    """Outcome of a check of the whole chain.

    ``entries`` is how many were found whole before the first fault (all of them,
    if ``ok``); ``head`` is the hash of the last whole entry: noted on paper or
    elsewhere it also shows when entries were cut off at the end.  ``broken`` is
    the number of the first faulty entry, ``fault`` what is wrong with it.
    ``unsigned`` entries were made before there were keys, the others by ``stations``.
    """

    ok: bool
    entries: int
    head: str
    sentence: str
    broken: int | None = None
    fault: str | None = None
    unsigned: int = 0
    stations: tuple[Station, ...] = ()

    def faulty(self, fault: str, *, broken: int | None = None) -> Verification:
        """The entries follow from each other, and yet something is wrong."""
        return replace(self, ok=False, broken=broken, fault=fault, sentence=(
            f"The {self.entries} entries are whole, but {fault}. Keep a copy as it is and tell "
            "who is responsible for the record."))


def content_hash(row: Mapping[str, Any]) -> str:
    """The hash that a row must have, from its content, its number and its link."""
    content = {name: row[name] for name, _ in CONTENT_COLUMNS}
    content["number"] = row["number"]
    return link(row["previous_hash"], content)


def walk(rows: Iterable[Mapping[str, Any]], *, noted: Iterable[Noted] = (),
         signatures: bool = True) -> Verification:
    """Check rows in the order of their numbers.

    What was ``noted`` must still be there.  Without ``signatures`` it is only seen that
    every entry has one, which is quicker.
    """
    head, count = FIRST_LINK, 0
    unsigned, stations = 0, dict[int, Station]()
    marks = sorted(noted, key=lambda n: n.entry)
    for k, row in enumerate(rows):
        number, want = row["number"], count + 1
        if k == 0 and number == 0 and row["kind"] == STATION_KEY:
            want = 0
        fault = None
        if number > want:
            return _broken(want, count, head, f"entry {want} is missing; it was removed by hand")
        if number < want:
            fault = "its number comes twice"
        elif row["previous_hash"] != head:
            fault = "it does not follow from the entry before it; one of the two was exchanged"
        elif row["hash"] != _content_hash(row):
            fault = "its content is not what was confirmed; it was changed by hand"
        else:
            fault = _seal_fault(row, stations, signatures)
        if fault:
            return _broken(number, count, head, fault)
        if row.get("signer") is None:
            unsigned += 1
        else:
            by = stations[row["signer"]]
            stations[by.entry] = replace(by, signed=by.signed + 1)
        while marks and marks[0].entry == number:
            if not row["hash"].startswith(marks[0].mark):
                return _broken(number, count, head, f"its hash is not the one {marks[0].where}; "
                               "the chain was rewritten")
            del marks[0]
        head, count = row["hash"], number
    if marks:
        return _broken(count + 1, count, head, f"entry {count + 1} is missing; {marks[-1].entry} "
                       f"entries were {marks[-1].where}")
    return Verification(True, count, head, _whole(count, unsigned, signatures, head),
                        unsigned=unsigned, stations=tuple(stations.values()))


def _content_hash(row: Mapping[str, Any]) -> str:
    try:
        return content_hash(row)
    except (ConfirmError, UnicodeError):  # bytes where a text was, half a character
        return ""


def _seal_fault(row: Mapping[str, Any], stations: dict[int, Station], verify: bool) -> str | None:
    """What is wrong with an entry's signature; a key of a station is noted."""
    number, signer = row["number"], row.get("signer")
    if row["kind"] == STATION_KEY:
        stations[number] = Station(number, _public_key(row["payload"]))
        if signer != number:
            return "it is a station's key that is not signed with itself"
    elif signer is None:
        return "no station signed it; it was put in from outside" if stations else None
    if signer not in stations:
        return "it names no key of a station before it"
    if verify and not entry_signed(stations[signer].public, str(row["signature"]), row["hash"]):
        return "its signature is not that of the station named; it was put in from outside"
    return None


def _public_key(payload: str) -> str:
    try:
        return str(json.loads(payload)["public_key"])
    except (ValueError, KeyError, TypeError):
        return ""


def _whole(count: int, unsigned: int, signatures: bool, head: str) -> str:
    if not count:
        return "The record is empty."
    words = "The 1 entry is whole" if count == 1 else f"All {count} entries are whole"
    before = "made before entries were signed"
    if unsigned >= count:
        words += f", but not signed: {'it was' if count == 1 else 'they were'} {before}."
    elif unsigned:
        words += f". The first {unsigned} are not signed: they were {before}."
    else:
        words += ". Each is signed by a station on record." if signatures else "."
    return f"{words} Last entry's mark: {head[:12]}."


def _broken(number: int, count: int, head: str, fault: str) -> Verification:
    return Verification(
        False, count, head,
        f"The record is broken at entry {number}: {fault}. The {count} entries before it are "
        "whole. Keep a copy as it is and tell who is responsible for the record.",
        broken=number, fault=fault)

"""Photos that are on record already: named as soon as they come in, refused at the press."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from app.exports.entry_words import what
from app.records import Entry
from app.records.codes import normal_bed
from app.records.errors import ConfirmError
from app.ui import blocks, guard, ledger
from app.ui.shift.write import now_here
from vision.imaging.photo import Photo
from vision.output.model import hm


def said_of(photos: Sequence[Photo], kind: str) -> tuple[str, ...]:
    """Which of the photos in hand are on record already as a ``kind`` of entry, and with what."""
    said: list[str] = []
    for n, photo in enumerate(photos):
        found, _ = guard.in_words(partial(_entries, photo, kind))
        which = f"Photo {n + 1}, entry" if len(photos) > 1 else "Entry"
        said += [f"{which} {e.number}: {what(e)} for bed {e.bed} at "
                 f"{hm(e.happened.local, now_here())}." for e in found or ()]
    return tuple(said)


def notice(said: Sequence[str], photos: Sequence[Photo]) -> None:
    """That photos in hand are on record already."""
    if said:
        many = len(photos) > 1
        blocks.notice(("One of these photos" if many else "This photo") + " is on record already",
                      [*said, "For that bed it cannot be confirmed again: " + (
                          "take it out." if many else "take a new photo.")], stop=True)


def refuse(photos: Sequence[Photo], kind: str, bed: str, key: str) -> None:
    """One photo is one ``kind`` of entry of a bed, also as one of several.

    The entry of the same ``key`` is this one, sent twice.  Raises ConfirmError.
    """
    for photo in photos:
        for entry in _entries(photo, kind):
            if normal_bed(entry.bed) == normal_bed(bed) and entry.key != key:
                raise ConfirmError(
                    f"{'One of these photos' if len(photos) > 1 else 'This photo'} was "
                    f"confirmed already as entry {entry.number}. Take a new one, or correct that "
                    "entry.")


def _entries(photo: Photo, kind: str) -> list[Entry]:
    return [e for e in ledger.open_store().of_photo(photo.sha256) if e.kind == kind]

"""What the page's camera hands over on a press: photos, and where down was in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from vision.errors import InputError, PhotoError
from vision.imaging.gravity import PhoneGravity, phone_gravity
from vision.imaging.photo import MAX_FILE_BYTES
from vision.parameters import MOST_PHOTOS
from vision.plain_file import parse_json

_LOST = "The photos did not arrive whole; take them again."
#: All photos of one press together.
_MOST_BYTES = 2 * MAX_FILE_BYTES


@dataclass(frozen=True)
class Taken:
    """One photo's file, and where down was in it if the phone told."""

    data: bytes
    gravity: PhoneGravity | None = None


def unpacked(sent: bytes) -> list[Taken]:
    """The photos of one press.  Raises PhotoError with a sentence.

    As ``page/talk.js`` packs them: the length of the head (4 bytes, big end first), the head
    as JSON, then the files one behind the other.
    """
    if len(sent) > _MOST_BYTES:
        raise PhotoError("The photos of this press are too large; take them again.")
    at = 4 + int.from_bytes(sent[:4], "big")
    try:
        rows = parse_json(sent[4:at])["photos"]
        sizes = [row["bytes"] for row in rows]
        whole = (all(isinstance(size, int) and size > 0 for size in sizes)
                 and at + sum(sizes) == len(sent))
        if not (whole and 1 <= len(rows) <= MOST_PHOTOS):
            raise PhotoError(_LOST)
        found = []
        for row, size in zip(rows, sizes, strict=True):
            found.append(Taken(sent[at:at + size], _gravity(row)))
            at += size
    except (ValueError, TypeError, KeyError, AttributeError):
        raise PhotoError(_LOST) from None
    return found


def _gravity(row: dict[str, Any]) -> PhoneGravity | None:
    """The direction where it is one, else nothing: a browser may send anything."""
    if row.get("down") is None:
        return None
    try:
        return phone_gravity([float(v) for v in row["down"]], float(row["sd_deg"]), "page")
    except (TypeError, ValueError, KeyError, OverflowError, InputError):
        return None

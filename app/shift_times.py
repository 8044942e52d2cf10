"""When the ward's shifts start: one setting for pages, sheets and commands.

It lies beside the record, in the data folder; where the record is in a database on a server, in
this user's data folder.  A bed's limit of a shift is judged by it.
"""

from __future__ import annotations

from datetime import tzinfo
from pathlib import Path

from app.settings import ward_folder
from vision.errors import InputError
from vision.output import ShiftPlan, parse_starts
from vision.plain_file import private_folder, read_text, write_whole

FILE_NAME = "shifts.txt"
_MAX_BYTES = 200


def shift_plan(place: str, zone: tzinfo | None = None) -> ShiftPlan:
    """The shifts of the ward whose record is at ``place``; the usual ones where it set none.

    Raises InputError where the file cannot be used.
    """
    path = _file(place)
    try:
        text = read_text(path, _MAX_BYTES)
    except FileNotFoundError:
        return ShiftPlan(zone=zone)
    except (OSError, ValueError):
        raise InputError(f"The times of the ward's shifts cannot be read: the file '{FILE_NAME}' "
                         "beside the record is damaged. Set them anew on the page Shift.") from None
    return ShiftPlan(parse_starts(text.strip()), zone)


def keep_shift_starts(place: str, text: str) -> ShiftPlan:
    """Set when the shifts start, as "07:00,19:00".  Raises InputError."""
    plan = ShiftPlan(parse_starts(text))
    try:
        private_folder(_file(place).parent)
        write_whole(_file(place), f"{plan.words}\n".encode())
    except OSError:
        raise InputError("The times of the shifts cannot be kept: the folder of the record cannot "
                         "be written to.") from None
    return plan


def _file(place: str) -> Path:
    return ward_folder(place) / FILE_NAME

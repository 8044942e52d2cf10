"""The ward's own scale file that a bed was last read with, kept beside the record.

The record names a scale and does not hold it; without the file the next hour would have to bring
it again.  A file is used for the bed and under the name it went on record with, no other.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from app.records.codes import normal_bed
from vision.errors import ScaleFileError
from vision.plain_file import open_plain, private_folder, write_whole
from vision.scale_file.scale import MAX_FILE_BYTES, Scale, parse_scale_text

FOLDER = "scales"


def keep_scale(ward: Path, bed: str, file: bytes) -> None:
    """Keep ``file`` as the last scale of a bed.  Raises OSError where it cannot be written."""
    place = _file(ward, bed)
    private_folder(place.parent)
    write_whole(place, file)


def kept_scale(ward: Path, bed: str, name: str) -> Scale | None:
    """The last scale of a bed; None where none is kept under that name that can be used."""
    try:
        with open_plain(_file(ward, bed)) as stream:
            scale = parse_scale_text(stream.read(MAX_FILE_BYTES + 1))
    except (OSError, ScaleFileError):
        return None
    return scale if scale.name == name and not scale.flat else None


def _file(ward: Path, bed: str) -> Path:
    # A bed code may hold a slash, and some file systems tell no case apart.
    return ward / FOLDER / f"{hashlib.sha256(normal_bed(bed).encode()).hexdigest()[:32]}.json"

"""An educator's own labelled photos: a ZIP with ``labels.jsonl`` and the photos that it names.

The label file is the one of the benchmark (a JSON object a line: ``file``, ``true_value``, and, if
it is not 1, ``division``); what else stands in it is not used.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import PurePosixPath

from vision.errors import InputError
from vision.imaging.photo import MAX_FILE_BYTES, Photo, load_photo

LABELS = "labels.jsonl"
#: A round somebody reads in one lesson; our choice.
MOST_PHOTOS = 30


@dataclass(frozen=True)
class LabelledPhoto:
    """A photo and what is true of it, in mL."""

    name: str
    photo: Photo
    true_value: float
    division: float


def labelled_photos(data: bytes) -> tuple[LabelledPhoto, ...]:
    """The photos of a set, in the order of its labels.

    ``InputError`` with a sentence for a file that is no such set; nothing is written anywhere.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            names = {PurePosixPath(i.filename).name: i for i in box.infolist() if not i.is_dir()}
            if LABELS not in names:
                raise InputError(f"There is no {LABELS} in this ZIP file; put it with the photos.")
            lines = _read(box, names[LABELS]).decode("utf-8-sig").splitlines()
            labels = [_label(line, n) for n, line in enumerate(lines, start=1) if line.strip()]
            if not 1 <= len(labels) <= MOST_PHOTOS:
                raise InputError(f"A set has 1 to {MOST_PHOTOS} photos, not {len(labels)}.")
            missing = [name for name, *_ in labels if name not in names]
            if missing:
                raise InputError(f"The photo '{missing[0]}' is named in {LABELS} but is not in the "
                                 "ZIP file.")
            return tuple(LabelledPhoto(name, load_photo(_read(box, names[name])), value, division)
                         for name, value, division in labels)
    except (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, OSError, EOFError,
            UnicodeDecodeError):
        raise InputError("This file is no ZIP file of photos that can be opened.") from None


def _read(box: zipfile.ZipFile, item: zipfile.ZipInfo) -> bytes:
    """A file of the set; what unpacks to more than a photo may have is not unpacked further."""
    with box.open(item) as file:
        found = file.read(MAX_FILE_BYTES + 1)
    if len(found) > MAX_FILE_BYTES:
        raise InputError("A file in this ZIP file is larger than 40 MB.")
    return found


def _label(line: str, number: int) -> tuple[str, float, float]:
    try:
        found = json.loads(line)
        name = PurePosixPath(str(found["file"])).name
        value, division = float(found["true_value"]), float(found.get("division", 1.0))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise InputError(f"Line {number} of {LABELS} needs 'file' and 'true_value'.") from None
    if not (math.isfinite(value) and abs(value) < 1e4 and 0 < division < 1e3):
        raise InputError(f"Line {number} of {LABELS}: the numbers make no sense.")
    return name, value, division

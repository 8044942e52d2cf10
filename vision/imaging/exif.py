"""What a photo's EXIF says in, the few facts that measuring needs out; all else is dropped."""

from __future__ import annotations

import math
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

from PIL import Image

from vision.imaging.gravity import PhoneGravity
from vision.imaging.maker_note import gravity_of

#: A 35 mm-equivalent focal length outside this range is taken as not stated.
FOCAL_35MM_RANGE = (8.0, 400.0)
_FILTER_LOCK = threading.Lock()
_ORIENTATION_TAG, _EXIF_IFD, _ZOOM_TAG, _FOCAL_35MM_TAG = 0x0112, 0x8769, 0xA404, 0xA405
_TAKEN_TAG = 0x9003


@dataclass(frozen=True)
class CameraFacts:
    """What the photo says of the camera, and nothing that identifies it.

    ``focal_35mm`` is the 35 mm-equivalent focal length in mm (by the diagonal),
    None when the photo does not say; ``digital_zoom`` is 1 without zoom.
    ``focal_relative_sd`` is its relative standard uncertainty where a lens file
    gave it, None where the photo's own data are all there is.  ``gravity`` is where down is,
    as the phone's own sensor says, None where nothing does.
    """

    focal_35mm: float | None = None
    digital_zoom: float = 1.0
    focal_relative_sd: float | None = None
    gravity: PhoneGravity | None = None


@contextmanager
def strict_reader() -> Iterator[None]:
    """Pillow's warning of a decompression bomb becomes an error, the rest is silent.

    Warning filters belong to the whole process, hence the lock.
    """
    with _FILTER_LOCK, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        yield


def camera_facts(im: Image.Image) -> tuple[int, CameraFacts, float | None]:
    """Orientation (1 to 8), camera facts, and minutes that only tell photos apart in time;
    whatever else EXIF holds is dropped here."""
    try:
        with strict_reader():
            exif = im.getexif()
            orientation = exif.get(_ORIENTATION_TAG, 1)
            sub = exif.get_ifd(_EXIF_IFD)
        # HEIF's reader turns the picture, and leaves word of the turn that the EXIF named
        turned = int(im.info.get("original_orientation") or orientation)
        upright = im.size[::-1] if im.format != "HEIF" and orientation in (5, 6, 7, 8) else im.size
        with strict_reader():
            gravity = gravity_of(sub, turned, upright)
        camera = CameraFacts(stated_focal_35mm(sub.get(_FOCAL_35MM_TAG)),
                             stated_zoom(sub.get(_ZOOM_TAG)), gravity=gravity)
    except Exception:
        # Damaged EXIF does no harm to the pixels: the facts are then unknown.
        return 1, CameraFacts(), None
    # HEIF keeps its turn in the container, and the reader has already applied
    # it; obeying the EXIF copy as well would turn the picture twice.
    if im.format == "HEIF" or orientation not in range(1, 9):
        orientation = 1
    return int(orientation), camera, _taken_min(sub.get(_TAKEN_TAG))


def _taken_min(value: object) -> float | None:
    """Minutes on the camera's own clock (EXIF DateTimeOriginal)."""
    try:
        taken = datetime.strptime(str(value), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    return (taken - datetime(2000, 1, 1)).total_seconds() / 60.0


def _number(value: object) -> float | None:
    """A finite float of an EXIF value of any kind, or None."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) else None


def stated_focal_35mm(value: object) -> float | None:
    """0 means unknown (Exif 2.32, FocalLengthIn35mmFilm); absurd values count as unknown."""
    number = _number(value)
    low, high = FOCAL_35MM_RANGE
    return number if number is not None and low <= number <= high else None


def stated_zoom(value: object) -> float:
    """0 means zoom not used (Exif 2.32, DigitalZoomRatio); absurd values count as 1."""
    number = _number(value)
    return number if number is not None and 1.0 < number <= 100.0 else 1.0

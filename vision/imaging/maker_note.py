"""Down, from the maker note of a phone's photo: its direction is kept, nothing else of the note.

The note of one maker holds the acceleration (tag 0x0008: three signed rationals, in g).  Seen from
the front of the phone +x is to its left, +y to its bottom, +z into its face, and a phone at rest is
accelerated upwards (P. Harvey, ExifTool tag names, "Apple Tags").
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping

from PIL.TiffImagePlugin import ImageFileDirectory_v2

from vision.errors import InputError
from vision.imaging.gravity import PhoneGravity, phone_gravity
from vision.parameters import AT_REST_G

_MAKER_NOTE_TAG, _LENS_TAG, _WIDTH_TAG, _HEIGHT_TAG = 0x927C, 0xA434, 0xA002, 0xA003
_BEGINS, _DIRECTORY_AT, _ACCELERATION_TAG = b"Apple iOS\0\0\1MM", 14, 0x0008
#: The ratio of the sides that the camera wrote down and the picture's agree to this.
_SAME_SHAPE = 0.01
#: What each orientation of Exif 2.32 without mirroring does to (right, down) of the stored picture.
_TURN = {1: (1, 0, 0, 1), 3: (-1, 0, 0, -1), 6: (0, -1, 1, 0), 8: (0, 1, -1, 0)}


def gravity_of(sub: Mapping[int, object], orientation: int, upright: tuple[int, int]
               ) -> PhoneGravity | None:
    """Down in the frame of the upright photo, or None where the photo does not say it for sure.

    ``sub`` is the photo's Exif directory, ``orientation`` that of its Exif data, ``upright``
    (width, height) of the upright photo.  Not used are the sensor of a moving hand (not 1 g), a
    photo that was turned or cut afterwards, and one of the camera on the phone's front.
    """
    note = sub.get(_MAKER_NOTE_TAG)
    if not isinstance(note, bytes) or orientation not in _TURN or (
            "front" in str(sub.get(_LENS_TAG, "")).lower()):
        return None
    a, b, c, d = _TURN[orientation]
    taken = sub.get(_WIDTH_TAG), sub.get(_HEIGHT_TAG)
    if a == 0:
        taken = taken[::-1]
    acceleration = _acceleration(note)
    if acceleration is None or not _same_shape(taken, upright):
        return None
    if abs(math.hypot(*acceleration) - 1.0) > AT_REST_G:
        return None
    x, y, z = acceleration
    # The sensor's picture has its lower edge on the phone's right side, seen from the front.
    right, down = -y, -x
    try:
        return phone_gravity((a * right + b * down, c * right + d * down, -z), source="photo")
    except InputError:  # the orientation says another edge is the lower one
        return None


def _acceleration(note: bytes) -> tuple[float, float, float] | None:
    """The vector of the note, in g; None for another maker's and for a damaged one."""
    if not note.startswith(_BEGINS):
        return None
    directory = ImageFileDirectory_v2(b"MM\0*" + _DIRECTORY_AT.to_bytes(4, "big"))
    stream = io.BytesIO(note)
    stream.seek(_DIRECTORY_AT)
    try:
        directory.load(stream)
        x, y, z = (float(v) for v in directory[_ACCELERATION_TAG])
    except Exception:  # whatever a damaged directory raises, the photo is none the worse
        return None
    return (x, y, z) if math.isfinite(x + y + z) else None


def _same_shape(taken: tuple[object, ...], upright: tuple[int, int]) -> bool:
    """Whether the picture has the shape in which the camera wrote it, if it says that."""
    width, height = taken
    if not isinstance(width, int) or not isinstance(height, int) or width * height <= 0:
        return True
    return abs(width / height / (upright[0] / upright[1]) - 1.0) < _SAME_SHAPE

"""A calibrated lens: what it is, and the file it is kept in."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from vision.errors import InputError
from vision.imaging.camera import FILM_DIAGONAL_MM
from vision.plain_file import parse_json, read_text, write_whole

_KIND = "lens"


@dataclass(frozen=True)
class Lens:
    """Pinhole camera with radial distortion, of upright photos ``width`` x ``height``.

    ``focal_px`` and ``principal_px`` (x, y) are in pixels of such photos;
    ``radial`` holds k1, k2 of x' = x (1 + k1 r^2 + k2 r^4), with x, r over the
    focal length.  ``focal_relative_sd`` is the relative standard uncertainty of
    the focal length for later photos.  ``exif_focal_35mm`` is what the photos
    of the calibration said of themselves.  ``rms_px`` is the root mean square
    distance of the board's corners from the model.
    """

    width: int
    height: int
    focal_px: float
    principal_px: tuple[float, float]
    radial: tuple[float, float]
    focal_relative_sd: float
    rms_px: float
    photos: int
    corners: int
    exif_focal_35mm: float | None = None
    made_with: str = ""

    @property
    def focal_35mm(self) -> float:
        """The 35 mm-equivalent focal length by the diagonal, mm."""
        return self.focal_px * FILM_DIAGONAL_MM / math.hypot(self.width, self.height)


def save_lens(lens: Lens, path: str | Path) -> None:
    """Write a lens file (JSON)."""
    content = {"kind": _KIND, **asdict(lens)}
    try:
        write_whole(path, (json.dumps(content, indent=1) + "\n").encode("utf-8"))
    except OSError:
        raise InputError(f"The lens file '{path}' cannot be written.") from None


def load_lens(path: str | Path) -> Lens:
    """Read a lens file; InputError names what is wrong with it."""
    try:
        content = parse_json(read_text(path))
    except OSError:
        raise InputError(f"There is no lens file '{path}'.") from None
    except ValueError:
        content = None
    if not isinstance(content, dict) or content.get("kind") != _KIND:
        raise InputError(f"'{path}' is not a lens file; 'countersight lens' makes one.")
    return Lens(
        width=int(_number(content, "width", 48, 20_000)),
        height=int(_number(content, "height", 48, 20_000)),
        focal_px=_number(content, "focal_px", 50, 200_000),
        principal_px=_pair(content, "principal_px", -20_000, 20_000),
        radial=_pair(content, "radial", -3, 3),
        focal_relative_sd=_number(content, "focal_relative_sd", 0, 0.2),
        rms_px=_number(content, "rms_px", 0, 100),
        photos=int(_number(content, "photos", 0, 1e6)),
        corners=int(_number(content, "corners", 0, 1e9)),
        exif_focal_35mm=None if content.get("exif_focal_35mm") is None
        else _number(content, "exif_focal_35mm", 1, 2000),
        made_with=str(content.get("made_with", "")))


def _checked(value: Any, key: str, low: float, high: float) -> float:
    if (isinstance(value, bool) or not isinstance(value, (int, float))
            or not low <= value <= high):
        raise InputError(f"The lens file's '{key}' must be a number from {low:g} to {high:g}.")
    return float(value)


def _number(content: dict[str, Any], key: str, low: float, high: float) -> float:
    return _checked(content.get(key), key, low, high)


def _pair(content: dict[str, Any], key: str, low: float, high: float) -> tuple[float, float]:
    value = content.get(key)
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"The lens file's '{key}' must be two numbers.")
    return _checked(value[0], key, low, high), _checked(value[1], key, low, high)

"""Points, numbers and pictures on the command line, for every command that takes a photo."""

from __future__ import annotations

import argparse
import io
import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vision.errors import InputError
from vision.plain_file import write_whole
from vision.scale_file.fields import MAX_MAGNITUDE

if TYPE_CHECKING:
    from vision.imaging.gravity import PhoneGravity

PICTURE_ENDINGS = (".png", ".jpg", ".jpeg", ".webp")


def add_result_options(parser: argparse.ArgumentParser, *, lens: bool) -> None:
    """Add --overlay and --json, and --lens for a command that takes a lens file."""
    if lens:
        parser.add_argument("--lens", metavar="LENS.json",
                            help="lens file of the phone's camera, from 'countersight lens'")
    parser.add_argument("--overlay", metavar="OUT.png",
                        help="write the photo with what was seen drawn on it")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def parse_number(text: str, option: str) -> float:
    """A number up to MAX_MAGNITUDE, with a decimal point or comma; InputError with the option."""
    try:
        value = float(text.strip().replace("\N{MINUS SIGN}", "-").replace(",", "."))
    except ValueError:
        raise InputError(f"{option} needs one number, for example -3 or 2.5, not '{text}'."
                         ) from None
    if not math.isfinite(value):
        raise InputError(f"{option}: '{text}' is not a finite number.")
    if abs(value) > MAX_MAGNITUDE:
        raise InputError(f"{option}: '{text}' is larger than anything measured here"
                         f" ({MAX_MAGNITUDE:g}).")
    return value


def parse_point(text: str, option: str) -> tuple[float, float]:
    """'X,Y' in pixels of the upright photo, or InputError naming the option."""
    parts = text.split(",")
    if len(parts) != 2:
        raise InputError(f"{option}: give X,Y in pixels of the upright photo, such as 812,440.")
    return parse_number(parts[0], option), parse_number(parts[1], option)


def add_gravity_option(parser: argparse.ArgumentParser) -> None:
    """Add --gravity, once for each photo."""
    parser.add_argument("--gravity", metavar="X,Y,Z", action="append",
                        help="where down is, from another source, as the camera sees it: x right, "
                             "y down, z forward (--gravity=-0.02,0.99,0.12); of several photos "
                             "once for each. Overrules what the photo's own sensor says")


def parse_gravity(texts: list[str] | None) -> list[PhoneGravity] | None:
    """What --gravity was given, for each photo; InputError for what is no direction."""
    if texts is None:
        return None
    from vision.imaging.gravity import phone_gravity

    return [phone_gravity([parse_number(part, "--gravity") for part in text.split(",")],
                          source="command") for text in texts]


def parse_number_at(text: str, option: str) -> tuple[float, tuple[float, float]]:
    """'VALUE@X,Y': the value printed beside the mark at that point."""
    value, at, point = text.partition("@")
    if not at:
        raise InputError(f"{option}: give VALUE@X,Y, such as 20@812,440.")
    return parse_number(value, option), parse_point(point, option)


def check_picture_path(text: str | None, option: str) -> Path | None:
    """Where a picture can be written, checked before the work is done."""
    if text is None:
        return None
    path = Path(text)
    if path.suffix.lower() not in PICTURE_ENDINGS:
        raise InputError(f"{option}: the file name must end in .png or .jpg.")
    if not os.path.isdir(path.parent):
        raise InputError(f"{option}: there is no folder '{path.parent}'.")
    if os.path.exists(path) and not os.path.isfile(path):
        raise InputError(f"{option}: '{path}' is there and is not a file.")
    return path


def check_folder(text: str | None, option: str) -> Path | None:
    """A folder that pictures can be written into, made where it is new."""
    if text is None:
        return None
    try:
        Path(text).mkdir(exist_ok=True)
    except OSError:
        raise InputError(f"{option}: the folder '{text}' cannot be made.") from None
    return Path(text)


def write_picture(rgb: np.ndarray, path: Path) -> None:
    """Write (H, W, 3) uint8 RGB; nothing of the photo's metadata goes with it."""
    from PIL import Image

    buffer = io.BytesIO()
    try:
        Image.fromarray(np.ascontiguousarray(rgb)).save(
            buffer, Image.registered_extensions()[path.suffix.lower()])
        write_whole(path, buffer.getvalue())
    except OSError:
        raise InputError(f"The picture '{path}' cannot be written; check the folder and its"
                         " free space.") from None


def write_pictures(pictures: dict[str, np.ndarray], folder: Path) -> None:
    """Write each picture into the folder under its name, as PNG."""
    for name, picture in pictures.items():
        write_picture(picture, folder / f"{name}.png")

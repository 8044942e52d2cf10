"""``countersight read``: the liquid level in a photo of a chamber."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.commands.points import (
    add_result_options,
    check_folder,
    check_picture_path,
    parse_number_at,
    parse_point,
    write_picture,
)

if TYPE_CHECKING:
    from vision.imaging.photo import CameraFacts, Photo
    from vision.reading import VolumeReading
    from vision.scale_file.scale import Scale

    Point = tuple[float, float]


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "read", help="read the liquid level in a photo of a chamber",
        description="Read the liquid level in a photo of a chamber. A second reading beside your "
                    "own, never a record. Exit code 3 when there is no honest reading.")
    parser.add_argument("photo", metavar="PHOTO", help="JPEG, PNG, WebP or HEIC")
    parser.add_argument("--scale", required=True, metavar="FILE|NAME",
                        help="scale file, or the name of one that 'countersight scales' lists")
    parser.add_argument("--near", metavar="X,Y",
                        help="the chamber, or the surface, that is meant: a point of the upright "
                             "photo in pixels")
    parser.add_argument("--number", metavar="VALUE@X,Y",
                        help="the number printed beside the mark at that point")
    parser.add_argument("--explain", metavar="DIR",
                        help="also write one picture a stage into this folder: marks, numbering,"
                             " surface, budget")
    add_result_options(parser, lens=True)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read one photo; 0 when read, 3 when refused or off the scale."""
    from vision.imaging.photo import load_photo
    from vision.scale_file.scale import load_scale

    near = parse_point(args.near, "--near") if args.near is not None else None
    number = parse_number_at(args.number, "--number") if args.number is not None else None
    overlay = check_picture_path(args.overlay, "--overlay")
    folder = check_folder(args.explain, "--explain")
    scale = load_scale(args.scale)
    photo = load_photo(args.photo)

    from vision.lens.undistort import facts_words
    from vision.volume.inputs import check_inputs

    check_inputs(photo, scale, near, number=number)  # before a lens moves the points

    reading, camera = _read(photo, scale, near, number, args.lens)
    if folder is not None:
        _explain(*_as_read(photo, near, number, args.lens)[:3], scale, folder)
    if overlay:
        from vision.volume.overlay import draw_overlay

        write_picture(draw_overlay(photo, reading), overlay)
    if args.json:
        found = {**reading.as_json(), "camera": facts_words(camera)}
        sys.stdout.write(json.dumps(found, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        sys.stdout.write("\n".join([*sentences(reading)[:-1],
                                    f"camera: {facts_words(camera)}",
                                    sentences(reading)[-1]]) + "\n")
    return 0 if reading.status == "read" else 3


def _as_read(photo: Photo, near: Point | None, number: tuple[float, Point] | None,
             lens: str | None) -> tuple[Photo, Point | None, tuple[float, Point] | None, Any]:
    """The photo and the points in it as the reader sees them, and the view through the lens."""
    if lens is None:
        return photo, near, number, None
    from vision.lens.model import load_lens
    from vision.lens.undistort import through_lens

    view = through_lens(photo, load_lens(lens))
    return (view.photo, None if near is None else view.point_to_corrected(near),
            None if number is None else (number[0], view.point_to_corrected(number[1])), view)


def _read(photo: Photo, scale: Scale, near: Point | None, number: tuple[float, Point] | None,
          lens: str | None) -> tuple[VolumeReading, CameraFacts]:
    """The reading, its points in pixels of the photo as taken, and the camera facts used."""
    from vision.volume.read import read_volume

    photo, near, number, view = _as_read(photo, near, number, lens)
    reading = read_volume(photo, scale, surface=near, number=number)
    return reading if view is None else view.restored(reading), photo.camera


def _explain(photo: Photo, near: Point | None, number: tuple[float, Point] | None,
             scale: Scale, folder: Path) -> None:
    """Write the pictures of the stages."""
    from vision.volume.evidence import gather
    from vision.volume.explain import explain
    from vision.volume.locate import Hints

    for name, picture in explain(gather(photo, scale, Hints(near, near, number))).items():
        write_picture(picture, folder / f"{name}.png")


def sentences(reading: VolumeReading) -> list[str]:
    """The reading in lines for a person."""
    from vision.flags import FLAGS

    unit = reading.unit
    if reading.value is not None and reading.interval is not None:
        low, high = reading.interval
        lines = [f"{reading.scale}: {reading.value:.2f} {unit}"
                 f" (95 % interval {low:.2f} to {high:.2f} {unit})"]
    else:
        words = {"refused": "no reading", "below-scale": "below the lowest mark",
                 "above-scale": "above the highest mark"}
        lines = [f"{reading.scale}: {words.get(reading.status, reading.status)}"]
    if reading.naive_value is not None:
        lines.append(f"as it looks from where the phone was: {reading.naive_value:.2f} {unit}")
    if reading.elevation_deg is not None:
        side = "above" if reading.elevation_deg >= 0 else "below"
        doubt = "" if reading.elevation_sd_deg is None else f" +- {reading.elevation_sd_deg:.1f}"
        lines.append(f"sight line: {abs(reading.elevation_deg):.1f}{doubt} degrees from {side}")
    lines += [f"- {reason}" for reason in reading.reasons]
    for name in reading.flags:
        flag = FLAGS.get(name)
        if flag is not None and not any(flag.short in reason for reason in reading.reasons):
            lines.append(f"- {flag.short}. {flag.advice}".rstrip())
    if reading.question is not None:
        lines.append(f"? {reading.question.sentence}")
    lines.append("A second reading, not a record: compare it with your own; the local order"
                 " decides.")
    return lines

"""``countersight read``: the liquid level in a photo of a chamber."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.commands.points import (
    add_gravity_option,
    add_result_options,
    check_folder,
    check_picture_path,
    parse_gravity,
    parse_number_at,
    parse_point,
    write_picture,
    write_pictures,
)

if TYPE_CHECKING:
    from vision.imaging.photo import Photo
    from vision.reading import VolumeReading
    from vision.scale_file.scale import Scale

    Point = tuple[float, float]


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "read", help="read the liquid level in a photo of a chamber",
        description="Read the liquid level in a photo of a chamber. A second reading beside your "
                    "own, never a record. Exit code 3 when there is no honest reading.")
    parser.add_argument("photos", metavar="PHOTO", nargs="+",
                        help="JPEG, PNG, WebP or HEIC; several of one chamber, taken one right"
                             " after the other from different heights, are read together")
    parser.add_argument("--scale", required=True, metavar="FILE|NAME",
                        help="scale file, or the name of one that 'countersight scales' lists")
    parser.add_argument("--near", metavar="X,Y",
                        help="the chamber, or the surface, that is meant: a point of the upright "
                             "photo in pixels (of several photos: the first)")
    parser.add_argument("--number", metavar="VALUE@X,Y",
                        help="the number printed beside the mark at that point")
    parser.add_argument("--explain", metavar="DIR",
                        help="also write one picture a stage into this folder: marks, numbering,"
                             " surface, budget")
    add_gravity_option(parser)
    add_result_options(parser, lens=True)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read one photo, or several together; 0 when read, 3 when refused or off the scale."""
    from vision.imaging.photo import load_photo, with_gravity
    from vision.scale_file.scale import load_scale

    near = parse_point(args.near, "--near") if args.near is not None else None
    number = parse_number_at(args.number, "--number") if args.number is not None else None
    overlay = check_picture_path(args.overlay, "--overlay")
    folder = check_folder(args.explain, "--explain")
    scale = load_scale(args.scale)
    gravity = parse_gravity(args.gravity)
    taken = with_gravity([load_photo(path) for path in args.photos], gravity)

    from vision.lens.undistort import facts_words
    from vision.volume.inputs import check_inputs

    check_inputs(taken[0], scale, near, number=number)  # before a lens moves the points
    seen = _Seen(taken, args.lens, near, number)
    reading = seen.read(scale)
    if folder is not None:
        _explain(seen, scale, folder)
    if overlay:
        from vision.volume.overlay import draw_overlay, draw_sheet

        write_picture(draw_sheet(taken, reading) if reading.photos
                      else draw_overlay(taken[0], reading), overlay)
    camera = facts_words(seen.photos[reading.drawn_on].camera)
    if args.json:
        found = {**reading.as_json(), "camera": camera}
        sys.stdout.write(json.dumps(found, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        *lines, caution = sentences(reading)
        sys.stdout.write("\n".join([*lines, f"camera: {camera}", caution]) + "\n")
    return 0 if reading.status == "read" else 3


class _Seen:
    """The photos and the points in the first as the reader sees them, through a lens or not."""

    def __init__(self, taken: list[Photo], lens: str | None, near: Point | None,
                 number: tuple[float, Point] | None) -> None:
        self.photos, self.near, self.number = taken, near, number
        self.views: list[Any] = []
        if lens is not None:
            from vision.lens.model import load_lens
            from vision.lens.undistort import through_lens

            found = load_lens(lens)
            self.views = [through_lens(photo, found) for photo in taken]
            self.photos = [view.photo for view in self.views]
            move = self.views[0].point_to_corrected
            self.near = None if near is None else move(near)
            self.number = None if number is None else (number[0], move(number[1]))

    def read(self, scale: Scale) -> VolumeReading:
        """The reading, its points in pixels of the photos as taken."""
        from vision.volume.read import read_volume

        reading = read_volume(self.photos[0] if len(self.photos) == 1 else self.photos, scale,
                              surface=self.near, number=self.number)
        if not self.views:
            return reading
        whole: VolumeReading = self.views[reading.drawn_on].restored(reading)
        return replace(whole, photos=tuple(
            replace(p, reading=view.restored(p.reading))
            for p, view in zip(reading.photos, self.views, strict=False)))


def _explain(seen: _Seen, scale: Scale, folder: Path) -> None:
    """Write the pictures of the stages; with several photos, in a folder for each."""
    from vision.volume.evidence import gather
    from vision.volume.explain import explain
    from vision.volume.locate import Hints

    hints = Hints(seen.near, seen.near, seen.number)
    for n, photo in enumerate(seen.photos):
        place = folder
        if len(seen.photos) > 1:
            place = folder / f"photo-{n + 1}"
            place.mkdir(exist_ok=True)
        write_pictures(explain(gather(photo, scale, hints if n == 0 else None)), place)


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
    for n, photo in enumerate(reading.photos):
        said = "no reading" if photo.value is None or photo.interval is None else (
            f"{photo.value:.2f} {unit} ({photo.interval[0]:.2f} to {photo.interval[1]:.2f})")
        side = "" if photo.elevation_deg is None else f", from {photo.elevation_deg:+.0f} degrees"
        lines.append(f"photo {n + 1}: {said}{side}")
        if photo.value is None:
            lines += [f"    {reason}" for reason in photo.reasons[:1]]
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

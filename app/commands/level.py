"""``countersight level``: the zero reference against the landmark, from one photo or several."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from app.commands.points import (
    add_gravity_option,
    add_result_options,
    check_folder,
    check_picture_path,
    parse_gravity,
    parse_number,
    parse_point,
    write_picture,
    write_pictures,
)

if TYPE_CHECKING:
    from vision.level.result import LevelReading


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "level", help="the height of the zero reference against the landmark",
        description="Measure how much higher the system's zero reference hangs than the landmark. "
                    "A second look, never a record. Close the drain before anything is moved; "
                    "the local order decides. Exit code 3 when there is no honest result.")
    parser.add_argument("photos", metavar="PHOTO", nargs="+",
                        help="JPEG, PNG, WebP or HEIC; several photos of the same cards, best "
                             "from beside one another, are put together")
    parser.add_argument("--zero-card-mm", default="60", metavar="MM",
                        help="side of the zero card's black square (default 60)")
    parser.add_argument("--landmark-card-mm", default="40", metavar="MM",
                        help="side of the landmark card's black square (default 40)")
    parser.add_argument("--landmark", metavar="X,Y",
                        help="the landmark, tapped, in place of its card (pixels)")
    parser.add_argument("--zero", metavar="X,Y",
                        help="the zero reference, tapped, in place of its card (pixels)")
    parser.add_argument("--depth-difference-mm", metavar="MM",
                        help="how much nearer to the phone the landmark is than the zero reference")
    parser.add_argument("--focal-35mm", metavar="MM",
                        help="35 mm-equivalent focal length, where the photo does not say it")
    parser.add_argument("--tolerance-mm", metavar="MM", help="the ward's tolerance for 'level'")
    parser.add_argument("--explain", metavar="DIR",
                        help="also write one picture a stage into this folder: cards, plumb cues,"
                             " gravity, offset with its budget")
    add_gravity_option(parser)
    add_result_options(parser, lens=True)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Measure; 0 when measured, 3 when refused."""
    from vision.imaging.photo import load_photo, with_gravity

    numbers = {name: None if text is None else parse_number(text, option)
               for name, option, text in (
        ("zero_card_mm", "--zero-card-mm", args.zero_card_mm),
        ("landmark_card_mm", "--landmark-card-mm", args.landmark_card_mm),
        ("depth_difference_mm", "--depth-difference-mm", args.depth_difference_mm),
        ("focal_35mm", "--focal-35mm", args.focal_35mm),
        ("tolerance_mm", "--tolerance-mm", args.tolerance_mm))}
    points = {name: None if text is None else parse_point(text, option) for name, option, text in (
        ("landmark_px", "--landmark", args.landmark), ("zero_px", "--zero", args.zero))}
    overlay = check_picture_path(args.overlay, "--overlay")
    folder = check_folder(args.explain, "--explain")
    gravity = parse_gravity(args.gravity)
    photos = with_gravity([load_photo(path) for path in args.photos], gravity)
    if args.lens is not None:
        from vision.lens.model import load_lens
        from vision.lens.undistort import through_lens

        lens = load_lens(args.lens)
        views = [through_lens(photo, lens) for photo in photos]
        photos = [view.photo for view in views]
        points = {name: None if p is None else views[0].point_to_corrected(p)
                  for name, p in points.items()}

    from vision.level.evidence import gather
    from vision.level.inputs import level_inputs
    from vision.level.together import check_count, combine_levels

    check_count(photos)
    evidences = [gather(photo, level_inputs(photo, **numbers, **points))  # type: ignore[arg-type]
                 for photo in photos]
    reading = combine_levels(evidences)
    photo = photos[reading.drawn_on]
    if folder is not None:
        from vision.level.explain import explain_level

        for n, evidence in enumerate(evidences):
            place = folder if len(photos) == 1 else folder / f"photo-{n + 1}"
            place.mkdir(exist_ok=True)
            write_pictures(explain_level(evidence), place)
    if overlay:
        from vision.level.overlay import draw_level_overlay

        write_picture(draw_level_overlay(photo, reading), overlay)
    from vision.lens.undistort import facts_words

    stated = numbers["focal_35mm"]
    camera = facts_words(photo.camera) if stated is None else (
        f"stated, {stated:g} mm (35 mm equivalent)")
    if args.json:
        found = {**reading.as_json(), "camera": camera}
        sys.stdout.write(json.dumps(found, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        *lines, last = sentences(reading)
        sys.stdout.write("\n".join([*lines, f"camera: {camera}", last]) + "\n")
    return 0 if reading.status == "read" else 3


def sentences(reading: LevelReading) -> list[str]:
    """The result in lines for a person."""
    from vision.flags import FLAGS

    lines = [reading.sentence]
    if reading.gravity_from:
        lines.append(f"the vertical was taken from: {', '.join(reading.gravity_from)}")
    for n, one in enumerate(reading.photos):
        r = one.reading
        lines.append(f"photo {n + 1}: no reading" if r.offset_cm is None or r.interval_cm is None
                     else f"photo {n + 1}: {r.offset_cm:+.1f} cm ({r.interval_cm[0]:+.1f} to "
                          f"{r.interval_cm[1]:+.1f})")
    lines += [f"- {reason}" for reason in reading.reasons if reason not in reading.sentence]
    for name in reading.flags:
        flag = FLAGS.get(name)
        if flag is not None and not any(flag.short in line for line in lines):
            lines.append(f"- {flag.short}. {flag.advice}".rstrip())
    if reading.coach:
        lines.append(reading.coach)
    lines.append("Choosing the landmark is the larger error and no camera sees it; the local order"
                 " decides.")
    return lines

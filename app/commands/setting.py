"""``countersight setting``: where the pointer stands on the flat pressure scale of the panel."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from app.commands.points import (
    add_result_options,
    check_folder,
    check_picture_path,
    parse_number_at,
    parse_point,
    write_picture,
    write_pictures,
)

if TYPE_CHECKING:
    from vision.pressure_panel.result import SettingReading


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "setting", help="read the pointer on the flat pressure scale of the panel",
        description="Read where the chamber's pointer stands on the flat pressure scale of the "
                    "panel. Get the whole scale in the picture. A second reading beside your own, "
                    "never a record. Exit code 3 when there is no honest reading.")
    parser.add_argument("photo", metavar="PHOTO", help="JPEG, PNG, WebP or HEIC")
    parser.add_argument("--scale", required=True, metavar="FILE|NAME",
                        help="scale file of the flat scale, in the unit that is to be read")
    parser.add_argument("--pointer", required=True, metavar="X,Y",
                        help="tip of the pointer: a point of the upright photo in pixels")
    parser.add_argument("--number", metavar="VALUE@X,Y",
                        help="the number printed beside the mark at that point")
    parser.add_argument("--explain", metavar="DIR",
                        help="also write one picture a stage into this folder: marks, numbering,"
                             " pointer, budget")
    add_result_options(parser, lens=False)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read one photo; 0 when read, 3 when refused."""
    from vision.imaging.photo import load_photo
    from vision.pressure_panel.decide import decide
    from vision.pressure_panel.evidence import gather
    from vision.pressure_panel.inputs import check_inputs
    from vision.scale_file.scale import load_scale

    pointer = parse_point(args.pointer, "--pointer")
    number = parse_number_at(args.number, "--number") if args.number is not None else None
    overlay = check_picture_path(args.overlay, "--overlay")
    folder = check_folder(args.explain, "--explain")
    scale = load_scale(args.scale)
    photo = load_photo(args.photo)
    check_inputs(photo, scale, pointer, number)
    evidence = gather(photo, scale, pointer, number)
    reading = decide(evidence)
    if folder is not None:
        from vision.pressure_panel.explain import explain_setting

        write_pictures(explain_setting(evidence), folder)
    if overlay:
        from vision.volume.overlay import draw_overlay

        write_picture(draw_overlay(photo, reading), overlay)
    if args.json:
        sys.stdout.write(json.dumps(reading.as_json(), ensure_ascii=False, allow_nan=False) + "\n")
    else:
        sys.stdout.write("\n".join(sentences(reading)) + "\n")
    return 0 if reading.status == "read" else 3


def sentences(reading: SettingReading) -> list[str]:
    """The reading in lines for a person, both units where the unit is a bedside one."""
    from vision.hydrostatics.units import CM_H2O_CODE, PASCAL_PER, WORDS, both_units, convert

    if reading.value is None or reading.interval is None:
        lines = [f"{reading.scale}: no reading"]
    else:
        low, high = reading.interval
        unit = WORDS.get(reading.unit, reading.unit)
        lines = [f"{reading.scale}: set to {reading.value:.1f} {unit} "
                 f"(95 % interval {low:.1f} to {high:.1f} {unit})"]
        if reading.unit in PASCAL_PER:
            lines.append("that is " + both_units(
                convert(reading.value, reading.unit, CM_H2O_CODE)))
    lines += [f"- {reason}" for reason in reading.reasons]
    if reading.question is not None:
        lines.append(f"? {reading.question.sentence}")
    lines.append("The unit is the one of the scale file that you chose: compare it with the unit "
                 "printed on the panel.")
    lines.append("A second reading, not a record: compare it with your own; the local order "
                 "decides.")
    return lines

"""``countersight point``: the value at a tapped point between marks or places told."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from app.commands.points import parse_number, parse_number_at, parse_point

if TYPE_CHECKING:
    from vision.manual_scale.at_point import PointReading


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "point", help="the value at a point between marks that you number yourself",
        description="For a burette, a cylinder or a thermometer on the bench: you say which two "
                    "or more marks are which and where the edge stands; the marks between do the "
                    "measuring. Nothing is read outside the numbers you give. For a vessel without "
                    "marks, give places of known height instead, such as its foot and its rim. "
                    "Exit code 3 when there is no honest value.")
    parser.add_argument("photo", metavar="PHOTO", help="JPEG, PNG, WebP or HEIC")
    parser.add_argument("--scale", required=True, metavar="FILE|NAME", help="scale file")
    parser.add_argument("--at", required=True, metavar="X,Y",
                        help="where the edge stands: a point of the upright photo in pixels")
    known = parser.add_mutually_exclusive_group(required=True)
    known.add_argument("--number", action="append", metavar="VALUE@X,Y",
                       help="the value of the mark at that point; give two or more")
    known.add_argument("--place", action="append", metavar="MM@X,Y",
                       help="the height of a place of the vessel in the scale file's mm; give "
                            "two or more")
    parser.add_argument("--behind-mm", metavar="MM",
                        help="how far the edge lies behind the marks (default: to the axis of "
                             "the tube; 0 for a point on the print) or the places (default: 0)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read one point; 0 when read, 3 when refused."""
    from vision.errors import InputError
    from vision.imaging.photo import load_photo
    from vision.manual_scale.at_point import read_point
    from vision.manual_scale.between import read_between
    from vision.scale_file.scale import load_scale

    at = parse_point(args.at, "--at")
    behind = None if args.behind_mm is None else parse_number(args.behind_mm, "--behind-mm")
    if behind is not None and not 0 <= behind <= 500:
        raise InputError("--behind-mm: give a distance from 0 to 500 mm.")
    option = "--number" if args.place is None else "--place"
    told = [parse_number_at(text, option) for text in args.place or args.number]
    scale = load_scale(args.scale)
    photo = load_photo(args.photo)
    if args.place is None:
        reading = read_point(photo, scale, at, told, behind_mm=behind)
    else:
        reading = read_between(photo, scale, at, told, behind_mm=behind or 0.0)
    if args.json:
        sys.stdout.write(json.dumps(as_json(reading), ensure_ascii=False, allow_nan=False) + "\n")
    else:
        sys.stdout.write("\n".join(sentences(reading, scale.name)) + "\n")
    return 0 if reading.status == "read" else 3


def as_json(reading: PointReading) -> dict[str, object]:
    """The object that ``--json`` prints."""
    return {
        "kind": "point", "status": reading.status,
        "value": None if reading.value is None else round(reading.value, 4),
        "unit": reading.unit,
        "interval": None if reading.interval is None else [round(v, 4) for v in reading.interval],
        "coverage": 0.95, "division": reading.division, "marks_found": len(reading.found),
        "share_found": round(reading.share_found, 3),
        "reasons": [reading.reason] if reading.reason else [],
        "budget": [term.as_json() for term in reading.budget],
    }


def sentences(reading: PointReading, name: str) -> list[str]:
    """The value in lines for a person."""
    from vision.output.model import percent

    if reading.value is None or reading.interval is None:
        lines = [f"{name}: no value", f"- {reading.reason}"]
    else:
        low, high = reading.interval
        lines = [f"{name}: {reading.value:.4g} {reading.unit} at the point "
                 f"(95 % interval {low:.4g} to {high:.4g} {reading.unit})"]
        if reading.found:
            lines.append(f"{len(reading.found)} marks found, {percent(reading.share_found)} of "
                         "those between the numbers given")
    return [*lines, "As seen from where the camera stood; a second reading, never a record."]

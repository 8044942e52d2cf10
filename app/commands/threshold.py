"""``countersight threshold``: at which pressure the drain opens when it hangs off level."""

from __future__ import annotations

import argparse
import json
import re
import sys
from typing import Any

from app.commands.points import parse_number
from vision.errors import InputError


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "threshold", help="the pressure at which the drain opens, in both units",
        description="Turn the setting on the panel and the height offset into the pressure at "
                    "which the drain opens, seen from the landmark. Offset: height of the zero "
                    "reference minus height of the landmark; negative means the system hangs "
                    "too low. A calculation, not advice.")
    parser.add_argument("--setting", required=True, metavar="NUMBER",
                        help="what the panel is set to; negative values are possible")
    parser.add_argument("--unit", required=True, metavar="UNIT",
                        help="unit of the setting as it stands on the order: cm[H2O] or mm[Hg]")
    parser.add_argument("--offset-cm", required=True, metavar="NUMBER",
                        help="height offset in cm, for example -3")
    parser.add_argument("--offset-interval-cm", metavar="LO,HI",
                        help="95 %% interval of the offset in cm, for example -4.1,-2.3")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    # Without this, argparse takes "-4.1,-2.3" and "-3,5" for options.
    parser._negative_number_matcher = re.compile(r"^-[\d.,]+[,;-]?[\d.,;-]*$")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the threshold; 0 when it could be computed.  InputError for bad numbers."""
    from vision.hydrostatics.threshold import CAUTIONS, effective_threshold

    interval = None
    if args.offset_interval_cm is not None:
        interval = parse_pair(args.offset_interval_cm, "--offset-interval-cm")
    result = effective_threshold(
        parse_number(args.setting, "--setting"), args.unit,
        parse_number(args.offset_cm, "--offset-cm"), offset_interval_cm=interval)
    if args.json:
        sys.stdout.write(json.dumps(result.as_json(), ensure_ascii=False) + "\n")
        return 0
    lines = [result.sentence]
    if result.interval_cm_h2o is None:
        lines.append("No interval of the offset was given, so none is known for the threshold.")
    lines += [f"- {caution}" for caution in CAUTIONS]
    sys.stdout.write("\n".join(lines) + "\n")
    return 0


def parse_pair(text: str, option: str) -> tuple[float, float]:
    """Two numbers 'LO,HI' with decimal points, or 'LO;HI' with either."""
    parts = re.split(r";", text) if ";" in text else text.split(",")
    if len(parts) != 2:
        raise InputError(f"{option} needs two numbers, for example -4.1,-2.3 (or -4,1;-2,3).")
    low, high = (parse_number(p, option) for p in parts)
    return low, high

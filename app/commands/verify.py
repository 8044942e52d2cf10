"""``countersight verify``: is the record whole?"""

from __future__ import annotations

import argparse
import json
import re
import sys
from dataclasses import asdict
from typing import Any

from vision.errors import InputError

_MARK = re.compile(r"(\d{1,9}):([0-9a-f]{12,64})")


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "verify", help="check that the record is whole and unchanged",
        description="Walk the chain of entries from the first to the last and name the first one "
                    "that is not as it was confirmed; check signatures, anchor, guards, the "
                    "database itself and every way in which the pages read it. Exit code 3 when "
                    "something is wrong.")
    parser.add_argument("--data", metavar="DIR",
                        help="folder, file or database address of the record")
    parser.add_argument("--expect", metavar="N:MARK",
                        help="a number and mark noted earlier: also finds entries cut off the end")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0 whole, 3 not whole; RecordError when there is no record to check."""
    from app.commands.record_place import open_record

    expected = None
    if args.expect is not None:
        match = _MARK.fullmatch(args.expect)
        if match is None:
            raise InputError("--expect looks like 123:9f86d081884c, a number and a mark.")
        expected = int(match[1]), match[2]
    found = open_record(args.data).verify(expected=expected)
    if args.json:
        sys.stdout.write(json.dumps({
            "kind": "verification", "ok": found.ok, "entries": found.entries, "mark": found.head,
            "broken": found.broken, "fault": found.fault, "sentence": found.sentence,
            "unsigned": found.unsigned, "stations": [asdict(s) for s in found.stations]}) + "\n")
    else:
        sys.stdout.write(found.sentence + "\n")
        for s in found.stations:
            sys.stdout.write(f"Station key {s.public[:16]} (entry {s.entry}) signed {s.signed} "
                             f"{'entry' if s.signed == 1 else 'entries'}, itself counted.\n")
        if found.ok and found.entries:
            sys.stdout.write(f"To note elsewhere: {found.entries}:{found.head[:12]}\n")
    return 0 if found.ok else 3

"""``countersight verify``: is the record whole."""

from __future__ import annotations

import argparse
import json
import re
import sys
from typing import Any

from vision.errors import InputError


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "verify", help="check that no entry of the record was changed or removed",
        description="Check every entry of the record against its hash and its predecessor. Exit "
                    "code 3 when something is not as it was written. Note the last number and "
                    "hash somewhere else: --expected then also shows entries cut off at the end.")
    parser.add_argument("--data", metavar="DIR",
                        help="folder of the record, or a database's address (default: "
                             "$COUNTERSIGHT_DATA or your own data folder)")
    parser.add_argument("--expected", metavar="NUMBER:HASH",
                        help="an entry's number and hash as noted earlier")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check the chain; 0 when whole, 3 when not."""
    from app.records import Store
    from app.settings import record_place

    expected = parse_expected(args.expected)
    result = Store.open(record_place(args.data), create=False).verify(expected=expected)
    if args.json:
        facts = {"kind": "verify", "ok": result.ok, "entries": result.entries,
                 "head": result.head, "broken": result.broken, "fault": result.fault}
        sys.stdout.write(json.dumps(facts, ensure_ascii=False) + "\n")
    else:
        sys.stdout.write(f"{result.sentence}\n")
        if result.ok and result.entries:
            sys.stdout.write(f"last entry: {result.entries}:{result.head}\n")
    return 0 if result.ok else 3


def parse_expected(text: str | None) -> tuple[int, str] | None:
    """'NUMBER:HASH' as printed by an earlier check."""
    if text is None:
        return None
    match = re.fullmatch(r"\s*(\d{1,12})\s*:\s*([0-9a-fA-F]{64})\s*", text)
    if match is None:
        raise InputError("--expected: give NUMBER:HASH as an earlier 'countersight verify' printed"
                         " it.")
    return int(match.group(1)), match.group(2).lower()

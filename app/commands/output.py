"""``countersight output``: what drained at one bed, from confirmed entries only."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import UTC, datetime
from typing import Any

from vision.errors import InputError


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "output", help="mL, mL/h, six hours, shifts and cumulative of one bed",
        description="What drained between the confirmed readings of one bed, with 95 % intervals. "
                    "What does not add up is asked about and not counted. A calculation, not "
                    "advice: the local order decides.")
    parser.add_argument("--bed", required=True, metavar="CODE", help="the ward's code of the bed")
    parser.add_argument("--data", metavar="DIR",
                        help="folder, file or database address of the record")
    parser.add_argument("--since", metavar="TIME",
                        help="leave out what happened before, for example 2026-03-02T07:00")
    parser.add_argument("--shifts", metavar="TIMES",
                        help="when shifts start, for example 07:00,19:00; default: the ward's, as "
                             "set on the page Shift")
    parser.add_argument("--zone", metavar="NAME",
                        help="time zone of the ward, for example Europe/Berlin; default: this "
                             "machine's")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the account; 3 when nothing could be computed."""
    from app.commands.record_place import known_bed, open_record
    from app.exports.account_text import account_json, account_lines
    from app.records.shift import bed_account
    from app.settings import record_place
    from app.shift_times import shift_plan
    from vision.output import ShiftPlan, parse_starts

    zone = zone_named(args.zone)
    plan = shift_plan(record_place(args.data), zone) if args.shifts is None else \
        ShiftPlan(parse_starts(args.shifts), zone)
    since = None if args.since is None else _moment(args.since, plan.zone)
    store = open_record(args.data)
    code = known_bed(store, args.bed)
    read = store.checked_read(code)
    bed = bed_account(read, code, since=since)
    stamp = (f"Counted from {len(read.entries)} of {read.verification.entries} entries on record. "
             + read.verification.sentence)
    now = datetime.now(UTC).astimezone(plan.zone)
    if args.json:
        found = account_json(bed, now, plan) | {"record": {
            "ok": read.verification.ok, "entries": read.verification.entries,
            "of_this_bed": len(read.entries), "sentence": stamp}}
        sys.stdout.write(json.dumps(found, ensure_ascii=False) + "\n")
    else:
        lines = account_lines(bed, now, plan)
        if not read.verification.ok:
            lines.insert(0, "RECORD NOT WHOLE. What follows lacks entries.")
        sys.stdout.write("\n".join([*lines, "", stamp]) + "\n")
    return 0 if bed.account.intervals and read.verification.ok else 3


def zone_named(name: str | None) -> Any:
    """The zone of that name; None for this machine's; InputError."""
    if name is None:
        return None
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        raise InputError(f"There is no time zone '{name}'; names look like Europe/Berlin."
                         ) from None


def _moment(text: str, zone: Any) -> datetime:
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"--since looks like 2026-03-02T07:00, not '{text}'.") from None
    try:
        if when.utcoffset() is None:
            when = when.replace(tzinfo=zone) if zone is not None else when.astimezone()
        when.astimezone(UTC)
    except (OverflowError, ValueError, OSError):
        raise InputError(f"--since: '{text}' is beyond the calendar.") from None
    return when

"""``countersight export``: the record as a table or as a FHIR bundle."""

from __future__ import annotations

import argparse
import errno
import sys
from typing import Any

from app.records.kinds import STATION_KEY
from vision.errors import InputError
from vision.plain_file import write_whole


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "export", help="write the record as CSV or as a FHIR R4 bundle",
        description="Write what was confirmed, corrections as corrections, withdrawn entries "
                    "marked. CSV holds every entry and can be checked by itself; the FHIR bundle "
                    "holds one Observation per thing that stands. No picture is exported unless "
                    "asked for.")
    parser.add_argument("--format", required=True, choices=("csv", "fhir"), help="csv or fhir")
    parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
    parser.add_argument("--bed", metavar="CODE", help="only this bed")
    parser.add_argument("--with-pictures", action="store_true",
                        help="fhir only: add the pictures that were kept")
    parser.add_argument("--data", metavar="DIR",
                        help="folder, file or database address of the record")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the file; says how much is in it and whether the chain is whole."""
    from app.commands.record_place import known_bed, open_record

    if args.with_pictures and args.format != "fhir":
        raise InputError("Pictures go with --format fhir only.")
    store = open_record(args.data)
    bed = None if args.bed is None else known_bed(store, args.bed)
    read = store.checked_read(bed, signatures=True, stations=args.format == "csv" and bed is None)
    if args.format == "csv":
        from app.exports.table import write_csv

        text, what = write_csv(read.entries), "entries"
        count = sum(e.kind != STATION_KEY for e in read.entries)
    else:
        from app.exports.fhir import write_bundle

        standings = read.current(bed, withdrawn=True)
        text = write_bundle(standings, picture=store.picture if args.with_pictures else None)
        count, what = len(standings), "observations"
    try:
        write_whole(args.out, text.encode("utf-8"))
    except OSError as error:
        reason = "the disk is full" if error.errno == errno.ENOSPC else "the place cannot be" \
            " written, or a device, a database or a key stands there"
        raise InputError(f"'{args.out}' was not written: {reason}.") from None
    sys.stdout.write(f"{count} {what} written to {args.out}, counted from the entries as they were "
                     f"checked. {read.verification.sentence}\n")
    return 0 if read.verification.ok else 3


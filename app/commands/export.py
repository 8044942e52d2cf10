"""``countersight export``: the record as a table or as a FHIR bundle."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

from vision.errors import InputError


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
    if args.format == "csv":
        from app.exports.table import write_csv

        entries = store.entries(bed=bed)
        text, count, what = write_csv(entries), len(entries), "entries"
    else:
        from app.exports.fhir import write_bundle

        standings = store.current(bed, withdrawn=True)
        text = write_bundle(standings, picture=store.picture if args.with_pictures else None)
        count, what = len(standings), "observations"
    write_whole(Path(args.out), text.encode("utf-8"))
    sys.stdout.write(f"{count} {what} written to {args.out}. {store.verify().sentence}\n")
    return 0


def write_whole(path: Path, data: bytes) -> None:
    """All of the file or nothing: an old file stays when the new one cannot be written."""
    if not path.name or path.is_dir():
        raise InputError(f"'{path}' was not written: it is a folder; name a file.")
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        reason = "the disk is full" if error.errno == 28 else "the place cannot be written"
        raise InputError(f"'{path}' was not written: {reason}.") from None

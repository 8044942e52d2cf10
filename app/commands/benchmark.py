"""``countersight benchmark``: read a labelled set of images and write the evidence."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vision.accuracy.limits import Check


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "benchmark", help="measure the reading accuracy on a set of labelled images",
        description="Read every image of a label file (JSON lines) and write report.html, "
                    "results.jsonl, results.csv and summary.json into a folder. A run that was "
                    "stopped goes on where it stopped.")
    parser.add_argument("labels", metavar="LABELS.jsonl", help="the label file")
    parser.add_argument("--out", required=True, metavar="DIR", help="folder for the evidence")
    parser.add_argument("--workers", type=int, default=1, metavar="N",
                        help="processes that read side by side (default 1)")
    parser.add_argument("--scheduler", metavar="ADDR",
                        help="address of a running Dask scheduler that reads instead, "
                             "for example tcp://127.0.0.1:8786")
    parser.add_argument("--compare", metavar="OLD.json",
                        help="summary.json of an earlier run of the same images")
    parser.add_argument("--readers", metavar="FILE",
                        help="readings.jsonl of a reading trial on the same pictures")
    parser.add_argument("--grid", type=int, metavar="N",
                        help="disturb the first N pictures in every way and strength "
                             "(written to DIR/grid) and read those instead")
    parser.add_argument("--sets", action="store_true",
                        help="read the photos of one chamber (label key 'set') together, and "
                             "report each alone beside all combinations")
    parser.add_argument("--quiet", action="store_true", help="no progress line")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the benchmark; 0 when every image was taken through, whatever was found."""
    from vision.accuracy import run_benchmark, run_sets
    from vision.accuracy.grid import make_grid
    from vision.errors import InputError

    if args.sets:
        if args.compare or args.readers or args.grid is not None:
            raise InputError("--sets reads photos together: leave out --compare, --readers and "
                             "--grid.")
        sets = run_sets(args.labels, args.out, args.workers, not args.quiet,
                        scheduler=args.scheduler)
        sys.stdout.write(f"{sets.sets} sets, {sets.moved} of them moved; alone: "
                         f"{sets.alone.misreads.count} of {sets.alone.n} photos silently misread; "
                         f"together: {sets.together.misreads.count} of {sets.together.n} sets\n")
        _say(sets.checks)
        return 0
    labels = args.labels
    if args.grid is not None:
        labels = make_grid(labels, Path(args.out) / "grid", args.grid)
    summary = run_benchmark(labels, args.out, args.workers, args.compare,
                            not args.quiet, scheduler=args.scheduler,
                            readers=args.readers)
    for kind, part in summary.kinds.items():
        sys.stdout.write(f"{kind}: {part.overall.n} images, {part.overall.scored} read, "
                         f"{part.overall.misreads.count} silent misreads\n")
        _say(part.checks)
    return 0


def _say(checks: Iterable[Check]) -> None:
    for check in checks:
        mark = check.doubt or {True: "met", False: "NOT MET", None: "not shown"}[check.met]
        sys.stdout.write(f"  {check.group:<11} {check.what:<42} {check.limit:<32} "
                         f"{check.found:<12} {mark}\n")

"""``countersight scenes``: write labelled photos of chambers."""

from __future__ import annotations

import argparse
import sys


def add_parser(subparsers: argparse._SubParsersAction) -> None:
    """Describe the command and its options."""
    p = subparsers.add_parser(
        "scenes", help="write ray-traced photos of chambers with their true values",
        description="Write ray-traced photos of chambers with a label file that says what is "
                    "true of each. The same seed gives the same photos.")
    p.add_argument("--out", required=True, metavar="DIR", help="folder to write into")
    p.add_argument("--count", type=int, required=True, metavar="N", help="how many photos")
    p.add_argument("--seed", type=int, required=True, metavar="S", help="a whole number")
    p.add_argument("--scale", metavar="FILE|NAME", help="one scale (default: all shipped ones)")
    p.add_argument("--tier", help="easy, typical, hard, offscale or unreadable (default: mixed)")
    p.add_argument("--size", default="1800x2400", metavar="WxH", help="pixels (default 1800x2400)")
    p.add_argument("--workers", type=int, default=1, metavar="N", help="processes at work")
    p.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the photos; 0 when done."""
    from vision.errors import InputError
    from vision.scenes.dataset import write_scenes

    try:
        width, height = (int(part) for part in args.size.lower().split("x"))
    except ValueError:
        raise InputError("The size must be written like 1800x2400.") from None
    if args.seed < 0:
        raise InputError("The seed must be 0 or more.")

    def tell(done: int, count: int) -> None:
        if done % 10 == 0 or done == count:
            print(f"{done} of {count}", file=sys.stderr)

    labels = write_scenes(args.out, args.count, args.seed, args.scale, args.tier,
                          (width, height), args.workers, tell)
    print(labels)
    return 0

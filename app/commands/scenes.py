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
    p.add_argument("--out", metavar="DIR", help="folder to write into (needed)")
    p.add_argument("--count", type=int, metavar="N", help="how many photos (needed)")
    p.add_argument("--seed", type=int, metavar="S", help="a whole number (needed)")
    p.add_argument("--scale", metavar="FILE|NAME", help="one scale (default: all shipped ones)")
    p.add_argument("--tier", help="easy, typical, hard, offscale or unreadable (default: mixed)")
    p.add_argument("--size", metavar="WxH", help="pixels (default 1800x2400)")
    p.add_argument("--views", type=int, default=1, metavar="N",
                   help="photos of every chamber or room, from several places (--count counts "
                        "chambers or rooms)")
    p.add_argument("--moved-share", type=float, default=0.0, metavar="SHARE",
                   help="with --views: share of the chambers in which one photo shows another "
                        "level (of the rooms: the landmark elsewhere), for example 0.1")
    p.add_argument("--workers", type=int, default=1, metavar="N", help="processes at work")
    p.add_argument("--level", action="store_true",
                   help="rooms for the level instead of chambers")
    p.add_argument("--lesson", action="store_true",
                   help="a class set instead: numbered pictures, worksheet, sealed answers")
    p.add_argument("--paper", choices=("a4", "letter"), default="a4",
                   help="with --lesson: the sheets' paper (default a4)")
    p.add_argument("--open", metavar="SEALED",
                   help="check the seal of a class set's answers and print them as labels")
    p.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the photos; 0 when done."""
    from vision.errors import InputError
    from vision.synthetic.chamber.dataset import write_scenes

    if args.open is not None:
        from app.exports.lesson_set import open_sealed

        sys.stdout.write(open_sealed(args.open))
        return 0
    missing = [o for o in ("out", "count", "seed") if getattr(args, o) is None]
    if missing:
        raise InputError(f"Give --{' and --'.join(missing)}; 'countersight scenes --help' shows "
                         "how.")
    try:
        width, height = (int(part) for part in (
            "1800x2400" if args.size is None else args.size).lower().split("x"))
    except ValueError:
        raise InputError("The size must be written like 1800x2400.") from None
    if args.seed < 0:
        raise InputError("The seed must be 0 or more.")

    if (args.views != 1 or args.moved_share) and args.lesson:
        raise InputError("A class set has one picture of each chamber: leave out --views and "
                         "--moved-share.")
    if args.moved_share and args.views == 1:
        raise InputError("Give --views too: only one of several photos can show another level.")

    def tell(done: int, count: int) -> None:
        if done % 10 == 0 or done == count:
            print(f"{done} of {count}", file=sys.stderr)

    if args.level:
        from vision.synthetic.bedside import write_level_scenes

        if args.lesson or args.scale or args.tier or args.size:
            raise InputError("Rooms for the level have no chamber: leave out --lesson, --scale, "
                             "--tier and --size.")
        print(write_level_scenes(args.out, args.count, args.seed, args.views,
                                 args.moved_share))
        return 0
    if args.lesson:
        from app.exports.lesson_set import write_lesson_set

        if args.scale or args.tier or args.size:
            raise InputError("A class set has chambers and a size of its own: leave out --scale, "
                             "--tier and --size.")
        print(write_lesson_set(args.out, args.count, args.seed, tell, paper=args.paper))
        return 0
    labels = write_scenes(args.out, args.count, args.seed, args.scale, args.tier,
                          (width, height), args.workers, tell, args.views, args.moved_share)
    print(labels)
    return 0

"""``countersight cards``: reference cards and calibration board as a PDF at true scale."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

from vision.errors import InputError
from vision.plain_file import write_whole


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "cards", help="print the two cards and the calibration board at true scale",
        description="Write a PDF at true scale: the two reference cards on page 1, the "
                    "calibration board of 'countersight lens' on page 2, each with check "
                    "rulers. Print it at 100 %, without 'fit to page', and measure the rulers.")
    parser.add_argument("--out", required=True, metavar="CARDS.pdf", help="file to write")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper (a4)")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the file; 0 when done."""
    from app.exports.cards_pdf import cards_pdf

    path = Path(args.out)
    if path.suffix.lower() != ".pdf":
        raise InputError("--out: the file name must end in .pdf.")
    if not os.path.isdir(path.parent):
        raise InputError(f"--out: there is no folder '{path.parent}'.")
    try:
        write_whole(path, cards_pdf(args.paper, board=True))
    except OSError:
        raise InputError(f"The file '{path}' cannot be written; check the folder and its free"
                         " space.") from None
    sys.stdout.write(f"{path}: print at 100 %, then measure the check rulers. Page 1: "
                     "the two cards; page 2: the calibration board for 'countersight lens'.\n")
    return 0

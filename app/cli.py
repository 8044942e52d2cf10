"""The console script ``countersight``.

Exit codes: 0 done, 3 an honest "no reading", 2 bad input.  Every error is one
sentence on standard error.  Command modules are loaded only when called, so the
measuring commands never load the pages.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import warnings
from collections.abc import Sequence
from importlib import import_module
from typing import Any, NoReturn

from app.terminal import plain_streams, say
from vision import __version__
from vision.errors import CountersightError, InputError

DONE, BAD_INPUT, NO_READING = 0, 2, 3
#: Longest word of a command line: the longest path of Linux (PATH_MAX) and some room.
LONGEST_WORD = 4200

COMMANDS: dict[str, str] = {
    "serve": "open the pages (also without any command)",
    "read": "read the liquid level in a photo of a chamber",
    "level": "the height of the zero reference against the landmark, from a photo",
    "setting": "read the pointer on the flat pressure scale of the panel",
    "point": "the value at a point between marks that you number yourself",
    "threshold": "the pressure at which the drain opens, in both units",
    "scenes": "write ray-traced photos of chambers with their true values",
    "cards": "print the zero card and the landmark card at true scale",
    "scales": "list the scales that come with it, or check a scale file",
    "verify": "check that no entry of the record was changed or removed",
    "output": "what drained at one bed: intervals, rates, six hours, shifts",
    "export": "write the record as CSV or as a FHIR R4 bundle",
    "lens": "calibrate the phone's camera from photos of the printed board",
    "benchmark": "measure the reading accuracy on a set of labelled images",
}


class _Help(argparse.HelpFormatter):
    def __init__(self, prog: str, **kwargs: Any) -> None:
        super().__init__(prog, max_help_position=26, **kwargs)


class Parser(argparse.ArgumentParser):
    """argparse with one sentence per error, and numbers such as -3,5 as values."""

    def __init__(self, *args: object, **kwargs: object) -> None:
        kwargs.setdefault("allow_abbrev", False)
        kwargs.setdefault("formatter_class", _Help)
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self._negative_number_matcher = re.compile(r"^-[\d.][\d.,;@-]*$")

    def error(self, message: str) -> NoReturn:
        """One sentence, exit code 2."""
        message = message[:1].upper() + message[1:].rstrip(".")
        say(f"{message}; '{self.prog} --help' shows how.")
        raise SystemExit(BAD_INPUT)


def build_parser(command: str | None) -> argparse.ArgumentParser:
    """The parser; only ``command`` gets its options, the others just their line."""
    parser = Parser(
        prog="countersight",
        description="A second reader for the chamber, level and threshold of a bedside drain. "
                    "Not a medical device: compare with your own reading; the local order decides.",
    )
    parser.add_argument("--version", action="version", version=f"countersight {__version__}")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)
    for name, line in COMMANDS.items():
        if name == command:
            import_module(f"app.commands.{name}").add_parser(subparsers)
        else:
            subparsers.add_parser(name, help=line)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    with plain_streams():
        return _main(argv)


def _main(argv: Sequence[str] | None) -> int:
    words = list(sys.argv[1:] if argv is None else argv) or ["serve"]
    if not words[0].startswith("-") and words[0] not in COMMANDS:
        say(f"There is no command '{words[0]}'; the commands are {', '.join(COMMANDS)}.")
        return BAD_INPUT
    if not os.environ.get("COUNTERSIGHT_DEBUG"):
        # Remarks of the libraries mean nothing to the person who reads our one sentence.
        warnings.simplefilter("ignore")
        os.environ.setdefault("OPENCV_LOG_LEVEL", "ERROR")
    try:
        _check_words(words)
        args = build_parser(words[0]).parse_args(words)
        code = args.run(args)
        sys.stdout.flush()
        return int(code)
    except SystemExit as stop:  # from argparse: --help, --version or a wrong option
        return stop.code if isinstance(stop.code, int) else BAD_INPUT
    except CountersightError as error:
        say(str(error))
        return BAD_INPUT
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            # The reader of our output has gone; nothing more can be said to it.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return DONE
        if error.filename is None or error.strerror is None:
            return _failed_inside(error)
        # The system refuses a file or a folder: a full disk, a name too long, no permission.
        say(f"'{os.fspath(error.filename)}' cannot be used: {error.strerror.lower()}.")
        return BAD_INPUT
    except KeyboardInterrupt:
        sys.stderr.write("Stopped.\n")
        return 130
    except Exception as error:
        return _failed_inside(error)


def _failed_inside(error: Exception) -> int:
    """Our own fault: one sentence, another exit code; raised again for who looks for it."""
    if os.environ.get("COUNTERSIGHT_DEBUG"):
        raise error
    sys.stderr.write(f"Countersight failed inside ({type(error).__name__}); nothing was"
                     " recorded, and COUNTERSIGHT_DEBUG=1 shows where.\n")
    return 1


def _check_words(words: Sequence[str]) -> None:
    """InputError for what no file, bed or number can be called."""
    for word in words:
        try:
            nothing = b"\0" in os.fsencode(word)
        except UnicodeEncodeError:  # half of a pair of code units
            nothing = True
        if nothing:
            raise InputError(f"'{word}' holds a character that no name can have; type it anew.")
        if len(word) > LONGEST_WORD:
            raise InputError(f"'{word}' is longer than anything that is asked for here.")


if __name__ == "__main__":
    sys.exit(main())

"""What a command prints: no character of it makes a terminal do anything but show it.

A bed code, a file's name or a line of a label file may hold an escape sequence
that clears the screen, renames the window or writes text backwards.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Any, TextIO

#: Control characters (C0 without line feed, DEL, C1: ECMA-48, 1991, section 5), line and
#: paragraph separators, those that turn the direction of writing (Unicode Standard Annex 9),
#: and halves of surrogate pairs, which no stream can write.
_OBEYED = re.compile("[\0-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\u061c\u200e\u200f"
                     "\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def plain(text: str) -> str:
    """The text with such characters written out, as ``\\u001b``: in JSON that means the same."""
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


class Plain:
    """A text stream whose every write goes through :func:`plain`."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write; a carriage return may only stand first, where a progress line begins anew."""
        start = "\r" if text.startswith("\r") else ""
        self._stream.write(start + plain(text.removeprefix("\r")))
        return len(text)

    def writelines(self, lines: Any) -> None:
        """Write each of them."""
        for line in lines:
            self.write(line)

    def isatty(self) -> bool:
        """Never: colours of a library would be written out."""
        return False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def plain_streams() -> Iterator[None]:
    """Both standard streams are plain ones meanwhile, for whoever prints."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    with redirect_stdout(Plain(sys.stdout)), redirect_stderr(Plain(sys.stderr)):  # type: ignore[type-var]
        yield


def say(sentence: str) -> None:
    """One line on standard error; endless words of the user's own are cut short."""
    words = [w if len(w) <= 100 else f"{w[:20]}...{w[-60:]}" for w in sentence.split()]
    line = " ".join(words)
    # Many short words can be endless too.
    sys.stderr.write((line if len(line) <= 1000 else line[:600] + " ...") + "\n")

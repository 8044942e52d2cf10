"""Stand-ins for a reading: what a worker of the pool can be made to do."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.errors import InputError


def wait_for(file: str) -> str:
    """Read on until the file is there; tells the worker's process."""
    Path(f"{file}.begun").touch()
    while not Path(file).exists():
        time.sleep(0.01)
    return str(os.getpid())


@dataclass(frozen=True)
class Seen:
    """What a look sees: the worker's process."""

    pid: int


def look(frame: bytes, file: str, ratio: float) -> Seen:
    """Look on until the file is there."""
    return Seen(int(wait_for(file)))


def note(file: str, word: str) -> str:
    """Adds a word to a file."""
    with open(file, "a") as stream:
        stream.write(f"{word}\n")
    return word


def refuse(sentence: str) -> None:
    raise InputError(sentence)


def fail(secret: str) -> None:
    raise ZeroDivisionError(secret)


def crash() -> None:
    """As a decoder that falls over."""
    os.kill(os.getpid(), signal.SIGSEGV)


def talk() -> str:
    """As a library that prints, from Python and from below."""
    print("words in between")
    os.write(1, b"and more of them\n")
    return "done"


def hoard() -> int:
    """As a picture that takes all memory."""
    return len(bytearray(64 * 1024 ** 3))


def echo(*args: Any, **options: Any) -> Any:
    return args, options

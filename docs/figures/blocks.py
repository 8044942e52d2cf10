"""Marked places of the documents: a name, and the text that was made for it.

A place stands in a line, ``the interval is <!-- figure: name -->2.1<!-- end --> times as wide``, or
takes lines of its own (a table, a sentence).  Comments do not show where Markdown is read.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
_PLACE = re.compile(
    r"(?P<begin><!-- figure: (?P<name>[a-z0-9-]+) -->)(?P<text>.*?)(?P<end><!-- end -->)",
    re.DOTALL)


def documents() -> list[Path]:
    """Every document that may hold figures."""
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def places(text: str) -> list[tuple[str, str]]:
    """(name, text that stands there) of every marked place."""
    return [(m["name"], m["text"]) for m in _PLACE.finditer(text)]


def filled(text: str, made: Callable[[str], str]) -> str:
    """The document with ``made(name)`` in each of its places."""
    return _PLACE.sub(lambda m: m["begin"] + laid(m["text"], made(m["name"])) + m["end"], text)


def laid(old: str, new: str) -> str:
    """What takes lines of its own goes on doing so."""
    return f"\n{new}\n" if "\n" in new or old.startswith("\n") else new


def differing(then: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """What a sample tells otherwise than what was kept; processors differ in the last digits."""
    def near(a: Any, b: Any) -> bool:
        if isinstance(a, list) and isinstance(b, list):
            return len(a) == len(b) and all(map(near, a, b))
        if isinstance(a, float) and isinstance(b, float):
            return abs(a - b) <= 0.01
        return bool(a == b)

    return [f"{key}: {then[key]} then, {now.get(key)} now"
            for key in then if not near(then[key], now.get(key))]

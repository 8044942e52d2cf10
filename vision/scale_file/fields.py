"""Checks of single fields of a scale file: each gives a clean value or a refusal.

A refusal is a ScaleFileError whose sentence names the field and says what
belongs there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from vision.errors import ScaleFileError

MAX_KNOTS = 1000
#: Far beyond any scale; keeps sums of such values exact enough and finite.
MAX_MAGNITUDE = 1e6

Knots = tuple[tuple[float, float], ...]


def refuse(field: str, sentence: str) -> ScaleFileError:
    """The refusal of a field: "Scale file, inner_diameter_mm: must be above zero." """
    return ScaleFileError(f"Scale file, {field}: {sentence}", field)


def shown(value: object) -> str:
    """A value as it can stand in a sentence, shortened."""
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def needed(content: Mapping[str, Any], key: str, field: str | None = None) -> Any:
    """The value of a key that must be there."""
    if key not in content or content[key] is None:
        raise refuse(field or key, "is missing.")
    return content[key]


def number(value: object, field: str, *, low: float = -MAX_MAGNITUDE,
           high: float = MAX_MAGNITUDE, above: float | None = None) -> float:
    """A finite JSON number within [low, high] and above ``above``."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise refuse(field, f"must be a number, not {shown(value)}.")
    try:
        clean = float(value)
    except OverflowError:
        clean = math.inf
    if not math.isfinite(clean):
        raise refuse(field, "must be a finite number.")
    if above is not None and clean <= above:
        raise refuse(field, f"must be above {above:g}, not {clean:g}.")
    if not low <= clean <= high:
        raise refuse(field, f"must lie between {low:g} and {high:g}, not {clean:g}.")
    return clean


def text(value: object, field: str, longest: int) -> str:
    """Printable text of at most ``longest`` characters."""
    if not isinstance(value, str):
        raise refuse(field, f"must be text, not {shown(value)}.")
    clean = value.strip()
    if not clean:
        raise refuse(field, "must not be empty.")
    if len(clean) > longest or not clean.isprintable():
        raise refuse(field, f"must be plain text of at most {longest} characters.")
    return clean


def choice(value: object, field: str, allowed: Sequence[str]) -> str:
    """One of a few words."""
    if not isinstance(value, str) or value not in allowed:
        words = " or ".join(f'"{word}"' for word in allowed)
        raise refuse(field, f"must be {words}, not {shown(value)}.")
    return value


def flag(value: object, field: str) -> bool:
    """true or false."""
    if not isinstance(value, bool):
        raise refuse(field, f"must be true or false, not {shown(value)}.")
    return value


def items(value: object, field: str, most: int) -> Sequence[Any]:
    """A list that is neither empty nor longer than ``most``."""
    if not isinstance(value, (list, tuple)):
        raise refuse(field, f"must be a list, not {shown(value)}.")
    if not value:
        raise refuse(field, "must not be empty.")
    if len(value) > most:
        raise refuse(field, f"has {len(value)} entries; at most {most} make sense.")
    return value


def knots(value: object, field: str) -> Knots:
    """Pairs [value, mm], at least two, rising strictly in value."""
    pairs = []
    for n, pair in enumerate(items(value, field, MAX_KNOTS), start=1):
        if not isinstance(pair, (list, tuple)) or len(pair) != 2:
            raise refuse(field, f"entry {n} must be a pair [value, mm], not {shown(pair)}.")
        pairs.append((number(pair[0], f"{field} entry {n}"), number(pair[1], f"{field} entry {n}")))
    if len(pairs) < 2:
        raise refuse(field, "needs at least two pairs [value, mm].")
    for n, (a, b) in enumerate(zip(pairs, pairs[1:], strict=False), start=1):
        if b[0] <= a[0]:
            raise refuse(field, f"values must rise from pair to pair; pair {n + 1} does not.")
    return tuple(pairs)

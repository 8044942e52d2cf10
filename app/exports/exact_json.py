"""JSON whose numbers keep the digits of their decimals (12.50 stays 12.50)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

#: Made once: ``json.dumps`` makes one for every text, and an account has thousands.
_PLAIN = json.JSONEncoder(ensure_ascii=False)


def dumps(value: Any, indent: int = 2, _level: int = 0) -> str:
    """As :func:`json.dumps`, with decimals written digit by digit; floats are refused."""
    if isinstance(value, str):  # what an account mostly holds
        return _PLAIN.encode(value)
    pad, end = "\n" + " " * indent * (_level + 1), "\n" + " " * indent * _level
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, float):
        raise TypeError("a binary number has no exact digits")
    if isinstance(value, Mapping):
        if not value:
            return "{}"
        inner = ("," + pad).join(f"{_PLAIN.encode(str(k))}: "
                                 f"{dumps(v, indent, _level + 1)}" for k, v in value.items())
        return "{" + pad + inner + end + "}"
    if isinstance(value, (list, tuple)):
        if not value:
            return "[]"
        return "[" + pad + ("," + pad).join(dumps(v, indent, _level + 1) for v in value) \
            + end + "]"
    return _PLAIN.encode(value)

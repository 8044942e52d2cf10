"""One text for one content, and the hash that links an entry to the one before it."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from app.records.errors import ConfirmError

#: What stands before the first entry.
FIRST_LINK = "0" * 64


def canonical_json(content: Any) -> str:
    """JSON with sorted keys, no spaces and no escapes; decimals become text.

    Raises ConfirmError for infinity, NaN and things JSON does not know.
    """
    return json.dumps(_plain(content), sort_keys=True, separators=(",", ":"), ensure_ascii=False,
                      allow_nan=False)


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ConfirmError("A number that goes on record must be finite.")
        return value
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    raise ConfirmError(f"A {type(value).__name__} cannot go on record.")


def link(previous_hash: str, content: Mapping[str, Any]) -> str:
    """SHA-256, in hex, over the previous entry's hash and this entry's canonical content."""
    text = previous_hash + "\n" + canonical_json(content)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()

"""How many phones look at a class just now: counted in memory, nothing is written down."""

from __future__ import annotations

import time
from collections import OrderedDict

#: A page asks every two seconds; a phone that has been silent for so long has gone.
_GONE_S = 8.0
_MOST = 5000
_seen: OrderedDict[tuple[str, str], float] = OrderedDict()


def seen(code: str, learner: str) -> None:
    """A learner's page has asked."""
    _seen[code, learner] = time.monotonic()
    _seen.move_to_end((code, learner))
    while len(_seen) > _MOST:
        _seen.popitem(last=False)


def present(code: str) -> int:
    """Phones that look at the class now."""
    now = time.monotonic()
    return sum(c == code and now - t < _GONE_S for (c, _), t in list(_seen.items()))

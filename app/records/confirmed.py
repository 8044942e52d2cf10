"""The type that the store accepts, and the seal that keeps it from being made by accident.

Only the confirming act (``app.records.confirm.confirm``) calls :func:`seal`.  An
instance made or changed in any other way does not carry a valid seal, and the
store refuses it.  The seal's secret lives and dies with the process.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from typing import Any, NoReturn

from app.records.canonical import canonical_json
from app.records.content import Content
from app.records.errors import NotConfirmedError

_SECRET = secrets.token_bytes(32)
_HOW = "Only confirm() makes a confirmed entry; a reading is no record until a person confirms it."


def _mark(content: Content) -> bytes:
    return hmac.digest(_SECRET, canonical_json(content.row()).encode("utf-8"),
                       hashlib.sha256().name)


class ConfirmedEntry:
    """What a person confirmed, sealed at that moment.  Cannot be constructed, copied,
    subclassed, pickled or changed; :func:`app.records.confirm.confirm` returns it."""

    __slots__ = ("_content", "_seal")
    _content: Content
    _seal: bytes

    def __init__(self, *_: Any, **__: Any) -> None:
        raise NotConfirmedError(_HOW)

    def __init_subclass__(cls, **_: Any) -> None:
        raise NotConfirmedError(_HOW)

    def __setattr__(self, *_: Any) -> None:
        raise NotConfirmedError("A confirmed entry cannot be changed; confirm a correction.")

    def __delattr__(self, *_: Any) -> None:
        raise NotConfirmedError("A confirmed entry cannot be changed; confirm a correction.")

    def __reduce_ex__(self, *_: Any) -> NoReturn:
        raise NotConfirmedError(_HOW)

    @property
    def content(self) -> Content:
        """What will be on record."""
        return self._content


def seal(content: Content) -> ConfirmedEntry:
    """Seal a content; for the confirming act only."""
    made = object.__new__(ConfirmedEntry)
    object.__setattr__(made, "_content", content)
    object.__setattr__(made, "_seal", _mark(content))
    return made


def unsealed(confirmed: object) -> Content:
    """The content of a truly confirmed entry; NotConfirmedError for anything else."""
    if type(confirmed) is not ConfirmedEntry:
        raise NotConfirmedError(_HOW)
    try:
        content, mark = confirmed._content, confirmed._seal
    except AttributeError:
        raise NotConfirmedError(_HOW) from None
    if type(content) is not Content or not hmac.compare_digest(mark, _mark(content)):
        raise NotConfirmedError(
            "This entry is not what the person confirmed; show it again and confirm it again.")
    return content

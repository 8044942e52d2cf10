"""What a browser comes back to after a reload or a lost connection, in memory only.

The page server begins anew with every connection; a photo, what was typed and who is at work
would be gone with a slipped finger.  Here they wait a while under the browser's random cookie
and whoever is signed in.  Nothing of it is on disk, and nothing of it is a record.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

import streamlit as st

from app.ui import signed_in
from app.ui.session_files import COOKIE, SESSION_WAITS_S

T = TypeVar("T")
#: How long initials are taken for those of the next person at a device, s (our choice): a
#: reading every hour and a quarter more.  Afterwards nobody is guessed.
INITIALS_WAIT_S = 75 * 60.0
#: Longest shift for which initials are kept from the moment they were typed, s (our choice).
INITIALS_LAST_S = 12.5 * 3600.0


@dataclass
class _Thing:
    """Something kept: since when, and when it was last asked for (``time.monotonic()``)."""

    what: Any
    since_s: float
    seen_s: float
    wait_s: float
    last_s: float


_things: dict[tuple[str, str], _Thing] = {}


def of_browser(name: str, make: Callable[[], T]) -> T:
    """The thing of that name of this browser, or a new one; waits as long as a session does."""
    found = _get(name)
    if found is None:
        found = make()
        _put(name, found, SESSION_WAITS_S, float("inf"))
    return found  # type: ignore[no-any-return]


def forget(name: str) -> None:
    """Drop the thing of that name of this browser."""
    _things.pop((_browser(), name), None)


def initials() -> str:
    """Who confirmed last at this device, while that is not too long ago; else ""."""
    return _get("initials") or ""


def remember_initials(text: str) -> None:
    """Who is at work at this device; "" forgets it."""
    if not text:
        _things.pop((_browser(), "initials"), None)
    elif _get("initials") != text:
        _put("initials", text, INITIALS_WAIT_S, INITIALS_LAST_S)


def forget_old(now_s: float) -> None:
    """Drop what has waited too long; ``now_s`` is ``time.monotonic()``."""
    for key, thing in list(_things.items()):
        if now_s - thing.seen_s > thing.wait_s or now_s - thing.since_s > thing.last_s:
            _things.pop(key, None)


def _get(name: str) -> Any:
    now = time.monotonic()
    forget_old(now)
    thing = _things.get((_browser(), name))
    if thing is None:
        return None
    thing.seen_s = now
    return thing.what


def _put(name: str, what: Any, wait_s: float, last_s: float) -> None:
    now = time.monotonic()
    _things[_browser(), name] = _Thing(what, now, now, wait_s, last_s)


def _browser() -> str:
    """Who asks: the browser's cookie and the person signed in.  Without a cookie, a session
    of its own."""
    cookie = st.context.cookies.get(COOKIE)
    if not isinstance(cookie, str) or not cookie:
        cookie = st.session_state.setdefault("kept-alone", f"session {time.monotonic_ns()}")
    return f"{cookie} {signed_in.identity() or ''}"

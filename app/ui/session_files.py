"""What the page server may hold for whom: files on their way in, pictures and files to fetch.

A session is let in once its pages may be shown (:mod:`app.ui.signed_in`); only then may
its browser, known by a random cookie, bring files or fetch any.  What the page server
itself does with files of others knows no sign-in and no limit on their sum.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie

import streamlit as st
from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

from vision.imaging.photo import MAX_FILE_BYTES

#: The cookie that tells browsers apart; it means nothing outside this process.
COOKIE = "countersight-browser"
#: A photo waits for the moment between its arrival and its reading: one in hand, one behind
#: it, and a scale file.  Our choice.
MOST_FILES, MOST_SESSION_BYTES = 4, 2 * MAX_FILE_BYTES
#: Of all sessions together: as much as eight photos of the largest size.  Our choice.
MOST_SERVER_BYTES = 8 * MAX_FILE_BYTES
#: A file whose session lost its connection waits so long for it to come back.
FILES_WAIT_S = 60.0
#: A session is over when its connection has been away for so long: a phone sleeps while its
#: camera is open.
SESSION_WAITS_S = 600.0


@dataclass
class _Guest:
    """A session that was let in: its browser's cookie, and when it was last connected."""

    browser: str
    seen_s: float


_guests: dict[str, _Guest] = {}


def admit() -> None:
    """The session of this run may bring and fetch files from now on."""
    context = get_script_run_ctx()
    if context is not None and runtime.exists():
        browser = st.context.cookies.get(COOKIE)
        _guests[context.session_id] = _Guest(
            browser if isinstance(browser, str) else "", time.monotonic())


def dismiss() -> None:
    """The session of this run may not, or no longer; what it brought is dropped."""
    context = get_script_run_ctx()
    if context is not None:
        _guests.pop(context.session_id, None)
        if runtime.exists():
            runtime.get_instance().uploaded_file_mgr.remove_session_files(context.session_id)


def browser_of(headers: Mapping[str, str]) -> str:
    """The cookie of the browser that sent a request, "" where it has none."""
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return "" if found is None else found.value


def may_bring(session: str, browser: str) -> bool:
    """Whether this browser may bring files to this session."""
    guest = _guests.get(session)
    return guest is not None and bool(browser) and guest.browser == browser


def may_fetch(browser: str) -> bool:
    """Whether this browser has a session that was let in and is not over."""
    return bool(browser) and any(g.browser == browser for g in list(_guests.values()))


def pending(session: str | None = None) -> tuple[int, int]:
    """Number and bytes of the files that wait to be read, of a session or of all."""
    held = getattr(runtime.get_instance().uploaded_file_mgr, "file_storage", {})
    files = [f for name, files in list(held.items()) if session in (None, name)
             for f in list(files.values())]
    return len(files), sum(len(f.data) for f in files)


def forget_downloads() -> None:
    """Drop the files that this session's page offered: their addresses answer no more.

    Called as a press is handled, when the run has not offered anything yet.  The page
    server drops a file that nobody offers at the second sweep.
    """
    if runtime.exists():
        for _ in range(2):
            runtime.get_instance().media_file_mgr.remove_orphaned_files()


def sweep(now_s: float) -> None:
    """End the sessions whose connection is gone for long, and free what they hold.

    To be called every few seconds from the page server's own loop; ``now_s`` is
    ``time.monotonic()``.  The page server alone would free them when the next comes.
    """
    server = runtime.get_instance()
    for session, guest in list(_guests.items()):
        if server.is_active_session(session):
            guest.seen_s = now_s
        elif now_s - guest.seen_s > SESSION_WAITS_S:
            del _guests[session]
            server.close_session(session)
            server.media_file_mgr.remove_orphaned_files()
        elif now_s - guest.seen_s > FILES_WAIT_S:
            server.uploaded_file_mgr.remove_session_files(session)
    for session in list(getattr(server.uploaded_file_mgr, "file_storage", {})):
        if session not in _guests:
            server.uploaded_file_mgr.remove_session_files(session)

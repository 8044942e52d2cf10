"""The gate in front of the page server: whose page may talk to it, who may bring and fetch.

Every request passes here first.  A page of another site is refused before the page
server sees it: that one would ask an outside host for this machine's public address to
find out whether the other site may be this one.
"""

from __future__ import annotations

import asyncio
import logging
import secrets
import time
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.readers import pool
from app.ui import kept, quiet, session_files
from app.ui.session_files import COOKIE
from vision.imaging.photo import MAX_FILE_BYTES

_log = logging.getLogger("countersight")
_UPLOAD, _MEDIA = "/_stcore/upload_file/", "/media/"
#: What a form adds around a file.
_FORM_BYTES = 1_000_000
_SWEEP_EVERY_S = 5.0


class Gate:
    """ASGI middleware; ``app`` is what stands behind."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._coming: Counter[str] = Counter()  # bytes under way, by session
        self._files: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if not _same_site(headers):
            await _refuse(scope, receive, send, 403, "This address answers its own pages only.")
            return
        if scope["type"] == "websocket":
            await self._app(scope, receive, send)
            return
        # What was compared here needs no second look, which may ask other hosts.
        scope = {**scope, "headers": [h for h in scope["headers"] if h[0] != b"origin"]}
        path, browser = scope["path"], session_files.browser_of(headers)
        if path.startswith(_UPLOAD) and scope["method"] == "PUT":
            await self._upload(scope, receive, send, browser)
        elif path.startswith(_MEDIA) and not session_files.may_fetch(browser):
            await _refuse(scope, receive, send, 404, "There is no such file.")
        elif browser:
            await self._app(scope, receive, send)
        else:
            await self._app(scope, receive, _with_cookie(scope, headers, send))

    async def _upload(self, scope: Scope, receive: Receive, send: Send, browser: str) -> None:
        """A file: of a session that was let in, and while there is room."""
        session = scope["path"].removeprefix(_UPLOAD).split("/")[0]
        if not session_files.may_bring(session, browser):
            await _refuse(scope, receive, send, 403, "Sign in first.")
            return
        length = Headers(scope=scope).get("content-length", "")
        if not (length.isascii() and length.isdigit()):
            await _refuse(scope, receive, send, 411, "How long is it?")
            return
        size = int(length[:20])
        if size > MAX_FILE_BYTES + _FORM_BYTES:
            await _refuse(scope, receive, send, 413, "The file is larger than 40 MB.")
            return
        # No other request runs between this look and the count below.
        files, held = session_files.pending(session)
        _, everywhere = session_files.pending()
        if (files + self._files[session] >= session_files.MOST_FILES
                or held + self._coming[session] + size
                > session_files.MOST_SESSION_BYTES + _FORM_BYTES):
            await _refuse(scope, receive, send, 429, "Wait until your other photos are read.")
            return
        if everywhere + self._coming.total() + size > session_files.MOST_SERVER_BYTES:
            await _refuse(scope, receive, send, 503, "Many photos come in; try again soon.")
            return
        self._coming[session] += size
        self._files[session] += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._coming[session] -= size
            self._files[session] -= 1
            if not self._files[session]:
                del self._coming[session], self._files[session]


def _same_site(headers: Headers) -> bool:
    """Whether a request comes from a page of this address, or from no page."""
    origin = headers.get("origin")
    if origin is None:
        return True
    try:
        return urlsplit(origin).netloc.lower() == headers.get("host", "").lower() != ""
    except ValueError:
        return False


def _with_cookie(scope: Scope, headers: Headers, send: Send) -> Send:
    """``send``, giving a browser its cookie with the first answer."""
    encrypted = "https" in (scope.get("scheme"), headers.get("x-forwarded-proto"))
    cookie = (f"{COOKIE}={secrets.token_urlsafe(32)}; Path=/; HttpOnly; SameSite=Lax"
              + ("; Secure" if encrypted else ""))

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).append("set-cookie", cookie)
        await send(message)

    return sending


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, why: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})  # policy violation (RFC 6455)
    else:
        # The body is not read: the connection has to end with the answer.
        await PlainTextResponse(why, status, {"Connection": "close"})(scope, receive, send)


@asynccontextmanager
async def housekeeping(app: object) -> AsyncIterator[None]:
    """While the page server runs: workers read photos, sessions that are over are ended."""

    async def keep() -> None:
        while True:
            await asyncio.sleep(_SWEEP_EVERY_S)
            try:
                session_files.sweep(time.monotonic())
                kept.forget_old(time.monotonic())
            except Exception as problem:  # an inner part of the page server: the next may do
                _log.error("files of ended sessions stay: %s", quiet.where(problem))

    task, workers = asyncio.create_task(keep()), pool.start()
    try:
        yield
    finally:
        task.cancel()
        pool.stop(workers)

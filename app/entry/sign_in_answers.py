"""A sign-in that fails says so on the page that asks for it.

The page server answers a refused sign-in with its first page and no word, and a sign-in
service that cannot be reached with an empty page: a person at a bed would press again and
again, or have nothing to press.  Here both lead back to the sign-in with the reason in the
address, and :mod:`app.ui.signed_in` says it in words.
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.ui.signed_in import NO_ANSWER, REFUSED, WHY

_LOGIN, _BACK = "/auth/login", "/oauth2callback"
#: The page server's cookie of who is signed in begins with this (``USER_COOKIE_NAME``).
_COOKIE = "_streamlit_user"


class SignInAnswers:
    """ASGI middleware; ``app`` is what stands behind."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on; of the two addresses of the sign-in the answer is looked at."""
        path = scope.get("path", "") if scope["type"] == "http" else ""
        if path.endswith(_BACK):
            await self._app(scope, receive, _naming_a_refusal(send))
        elif path.endswith(_LOGIN):
            await self._login(scope, receive, send, path.removesuffix(_LOGIN))
        else:
            await self._app(scope, receive, send)

    async def _login(self, scope: Scope, receive: Receive, send: Send, base: str) -> None:
        failed = False

        async def sending(message: Message) -> None:
            nonlocal failed
            if message["type"] == "http.response.start":
                failed = message["status"] >= 400
            if not failed:
                await send(message)

        await self._app(scope, receive, sending)
        if failed:
            await RedirectResponse(f"{base}/?{WHY}={NO_ANSWER}", 302)(scope, receive, send)


def _naming_a_refusal(send: Send) -> Send:
    """``send``; a way back to the pages that brings no sign-in along says so."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            where = headers.get("location")
            if where is not None and "?" not in where and not _brings_a_cookie(headers):
                headers["location"] = f"{where}?{WHY}={REFUSED}"
        await send(message)

    return sending


def _brings_a_cookie(headers: MutableHeaders) -> bool:
    """Whether the cookie of a sign-in is set; one that is deleted has no age left."""
    return any(c.startswith(_COOKIE) and "max-age=0" not in c.lower()
               for c in headers.getlist("set-cookie"))

"""Headers on everything that the page server sends, so that a page keeps to itself.

The browser then loads nothing from another host and runs no script but the page
server's and ours, whatever may stand in a text (Content Security Policy Level 3, W3C),
and no other site can show a page inside its own and lead a finger to a button.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from typing import Any

#: A script that stands in the page itself; its content is what a policy is told the digest of.
_INLINE = re.compile(r"<script[^>]*>(?P<code>.+?)</script>", re.DOTALL)


def inline_scripts(html: str) -> list[str]:
    """The content of every script that stands in ``html`` itself."""
    return [m["code"] for m in _INLINE.finditer(html)]


def safe_headers(scripts: Iterable[str]) -> dict[str, str]:
    """Name and value of every header; ``scripts`` are the inline scripts that may run."""
    digests = " ".join(f"'sha256-{_digest(code)}'" for code in scripts)
    policy = {
        "default-src": "'self'",
        "script-src": f"'self' {digests}".strip(),
        # The page server writes its styles while it draws.
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "media-src": "'self' blob:",
        "worker-src": "'self' blob:",
        "object-src": "'none'",
        "base-uri": "'self'",
        "form-action": "'self'",
        # The picture to tap is a frame of our own inside the page.
        "frame-ancestors": "'self'",
    }
    return {
        "Content-Security-Policy": "; ".join(f"{k} {v}" for k, v in policy.items()),
        "X-Frame-Options": "SAMEORIGIN",
        "X-Content-Type-Options": "nosniff",
        # A bed's code may stand in the address.
        "Referrer-Policy": "no-referrer",
        "Permissions-Policy": "camera=(self), accelerometer=(self), gyroscope=(self), "
                              "geolocation=(), microphone=()",
    }


def _digest(code: str) -> str:
    return base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()


class SafeHeaders:
    """Puts the headers on every answer (ASGI middleware)."""

    def __init__(self, app: Any, headers: dict[str, str]) -> None:
        self._app = app
        self._headers = {k.lower().encode(): v.encode() for k, v in headers.items()}

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Pass on, with the headers put on the first message of an answer."""
        async def with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                sent = [(k, v) for k, v in message.get("headers", ())
                        if bytes(k).lower() not in self._headers]
                message = {**message, "headers": [*sent, *self._headers.items()]}
            await send(message)

        await self._app(scope, receive, with_headers if scope["type"] == "http" else send)

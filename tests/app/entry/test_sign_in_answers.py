"""What a failed sign-in leads to, of answers such as the page server gives (without a browser)."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

import pytest
from starlette.responses import RedirectResponse, Response
from starlette.types import Message

from app.entry.sign_in_answers import SignInAnswers


@dataclass(frozen=True)
class Got:
    """What a browser gets."""

    status: int
    location: str | None
    text: str


def get(path: str, answer: Response) -> Got:
    """The answer of the page server to ``path``, as it leaves the middleware."""
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    scope = {"type": "http", "method": "GET", "path": path, "query_string": b"", "headers": []}
    asyncio.run(SignInAnswers(answer)(scope, receive, send))
    (start,) = (m for m in sent if m["type"] == "http.response.start")
    where = dict(start["headers"]).get(b"location")
    body = b"".join(m.get("body", b"") for m in sent if m["type"] == "http.response.body")
    return Got(start["status"], where.decode() if where else None, body.decode())


def to_the_pages(**cookies: str) -> Response:
    answer = RedirectResponse("/", 302)
    for name, value in cookies.items():
        if value:
            answer.set_cookie(name, value)
        else:
            answer.delete_cookie(name)
    return answer


@pytest.mark.parametrize(("cookies", "where"), [
    ({"_streamlit_user": "who"}, "/"),
    ({"_streamlit_user": "", "_streamlit_user_0": "a long one in parts"}, "/"),
    ({}, "/?sign-in=refused"),
    ({"_streamlit_user": "", "_streamlit_user_tokens": ""}, "/?sign-in=refused"),
    ({"countersight-browser": "anybody"}, "/?sign-in=refused"),
])
def test_only_a_way_back_without_a_sign_in_says_that_it_was_refused(cookies, where) -> None:
    got = get("/oauth2callback", to_the_pages(**cookies))
    assert (got.status, got.location) == (302, where)


def test_a_service_that_does_not_answer_leads_back_to_the_sign_in() -> None:
    got = get("/auth/login", Response("Authentication error", 400))
    assert (got.status, got.location) == (302, "/?sign-in=no-answer")
    assert "Authentication error" not in got.text


def test_everything_else_passes_as_it_is() -> None:
    there = "https://id.quay.example/authorize?state=s"
    assert get("/auth/login", RedirectResponse(there, 302)).location == there
    assert get("/", Response("a page", 400)) == Got(400, None, "a page")

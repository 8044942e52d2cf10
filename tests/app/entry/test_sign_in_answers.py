"""What a failed sign-in leads to, of answers such as the page server gives (without a browser)."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient

from app.entry.sign_in_answers import SignInAnswers


def client(answer: Response) -> TestClient:
    async def give(request: Request) -> Response:
        return answer

    pages = Starlette(routes=[Route(path, give) for path in
                              ("/auth/login", "/oauth2callback", "/")])
    return TestClient(SignInAnswers(pages), follow_redirects=False)


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
    answer = client(to_the_pages(**cookies)).get("/oauth2callback?error=access_denied&state=s")
    assert (answer.status_code, answer.headers["location"]) == (302, where)


def test_a_service_that_does_not_answer_leads_back_to_the_sign_in() -> None:
    answer = client(Response("Authentication error", 400)).get("/auth/login?provider=p")
    assert (answer.status_code, answer.headers["location"]) == (302, "/?sign-in=no-answer")
    assert "Authentication error" not in answer.text


def test_everything_else_passes_as_it_is() -> None:
    there = RedirectResponse("https://id.quay.example/authorize?state=s", 302)
    answer = client(there).get("/auth/login?provider=p")
    assert answer.headers["location"] == "https://id.quay.example/authorize?state=s"
    assert client(Response("a page", 400)).get("/").text == "a page"

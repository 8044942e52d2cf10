"""Sign-in from the button to the record, against a small OpenID provider of the test's own.

The provider speaks the authorization code flow of OpenID Connect Core 1.0 (2014), section
3.1, with an RS256 signature; it lets everyone in as one person.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from playwright.sync_api import expect
from serving import PHONE, Served, free_port, live, serve

from app.records import Store

pytest.importorskip("authlib", reason="sign-in needs countersight[auth]")
pytest.importorskip("httpx", reason="sign-in needs countersight[auth]")

from joserfc import jwt
from joserfc.jwk import RSAKey

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)

SUBJECT = "248289761001"


class Provider:
    """An OpenID provider on this machine."""

    def __init__(self) -> None:
        self.key = RSAKey.generate_key(2048, {"kid": "k1", "use": "sig", "alg": "RS256"})
        self.port, self.nonces, self.refuses = free_port(), {}, False
        self.issuer = f"http://127.0.0.1:{self.port}"
        self.server = ThreadingHTTPServer(("127.0.0.1", self.port), self._handler())
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        provider = self

        class Handler(BaseHTTPRequestHandler):
            def log_message(self, *_: object) -> None:
                pass

            def _json(self, content: object) -> None:
                data = json.dumps(content).encode()
                self.send_response(200)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def do_GET(self) -> None:
                address = urlsplit(self.path)
                if address.path == "/.well-known/openid-configuration":
                    at = provider.issuer
                    self._json({"issuer": at, "authorization_endpoint": f"{at}/authorize",
                                "token_endpoint": f"{at}/token", "jwks_uri": f"{at}/keys",
                                "response_types_supported": ["code"],
                                "subject_types_supported": ["public"],
                                "id_token_signing_alg_values_supported": ["RS256"]})
                elif address.path == "/keys":
                    self._json({"keys": [provider.key.as_dict(private=False)]})
                elif address.path == "/authorize":
                    asked = {k: v[0] for k, v in parse_qs(address.query).items()}
                    code = f"code-{len(provider.nonces)}"
                    provider.nonces[code] = (asked.get("nonce"), asked["client_id"])
                    # Section 3.1.2.6: an error in place of the code.
                    told = {"error": "access_denied"} if provider.refuses else {"code": code}
                    self.send_response(302)
                    self.send_header("Location", asked["redirect_uri"] + "?" + urlencode(
                        {**told, "state": asked["state"]}))
                    self.end_headers()
                else:
                    self.send_error(404)

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"])).decode()
                nonce, client = provider.nonces.pop(parse_qs(body)["code"][0])
                now = int(time.time())
                claims = {"iss": provider.issuer, "sub": SUBJECT, "aud": client, "iat": now,
                          "exp": now + 300, "email": "m.k@quay.example"}
                claims |= {} if nonce is None else {"nonce": nonce}
                self._json({"access_token": "a", "token_type": "Bearer", "expires_in": 300,
                            "id_token": jwt.encode({"alg": "RS256", "kid": "k1"}, claims,
                                                   provider.key)})

        return Handler


@pytest.fixture
def provider() -> Iterator[Provider]:
    made = Provider()
    yield made
    made.server.shutdown()


@pytest.fixture
def station(chromium, provider, tmp_path) -> Iterator[Served]:
    port, data, file = free_port(), tmp_path / "ward", tmp_path / "sign-in.toml"
    file.write_text(
        f'[auth]\nredirect_uri = "http://127.0.0.1:{port}/oauth2callback"\n'
        f'cookie_secret = "{"0f" * 32}"\nclient_id = "countersight"\nclient_secret = "s"\n'
        f'server_metadata_url = "{provider.issuer}/.well-known/openid-configuration"\n')
    yield from serve([sys.executable, "-m", "app", "serve", "--port", str(port), "--data",
                      str(data), "--sign-in", str(file), "--no-browser"], port, data)


def test_nobody_sees_anything_before_and_the_identity_is_on_record(browser, station, provider):
    page = browser.new_context(viewport=PHONE).new_page()
    page.set_default_timeout(30_000)
    page.goto(f"{station.url}/shift")
    expect(live(page).get_by_role("button", name="Sign in")).to_be_visible()
    expect(live(page).get_by_label("Bed code of your ward")).to_have_count(0)

    provider.refuses = True
    live(page).get_by_role("button", name="Sign in").click()
    expect(page.get_by_text("The sign-in did not let you in")).to_be_visible()
    provider.refuses = False
    live(page).get_by_role("button", name="Sign in").click()
    expect(page.get_by_text("Signed in as m.k@quay.example.")).to_be_visible()
    expect(page.get_by_text("The sign-in did not let you in")).to_have_count(0)
    page.goto(f"{station.url}/shift")
    live(page).get_by_label("Bed code of your ward").fill("QUAY-3")
    live(page).get_by_label("Bed code of your ward").press("Enter")
    expect(page.get_by_text("Enter what was done")).to_be_visible()
    page.get_by_text("Bag changed", exact=True).click()
    live(page).get_by_label("Your initials").fill("M.K.")
    live(page).get_by_role("button", name="Confirm: bag changed").click()
    expect(page.get_by_text("bag changed at")).to_be_visible()
    (entry,) = Store.open(station.data).entries()
    assert entry.identity == f"{SUBJECT} at {provider.issuer}" and entry.initials == "M.K."

    live(page).get_by_role("button", name="Sign out").click()
    expect(live(page).get_by_role("button", name="Sign in")).to_be_visible()
    log = (station.data.parent / f"{station.data.name}.log").read_text()
    assert "QUAY-3" not in log and "m.k@quay" not in log
    provider.server.shutdown()
    provider.server.server_close()
    live(page).get_by_role("button", name="Sign in").click()
    expect(page.get_by_text("The sign-in service does not answer.")).to_be_visible()
    expect(live(page).get_by_role("button", name="Sign in")).to_be_visible()
    page.context.close()

"""Who may: this machine alone by default, sign-in before any page, its identity on record."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from records_help import BED
from streamlit.testing.v1 import AppTest

from app.cli import main
from app.commands.serve import check_host, server_words
from app.records import Store
from app.sign_in import NEEDED, check_sign_in
from vision.errors import InputError

ROOT = Path(__file__).parents[3]
GOOD = {"redirect_uri": "https://drain.quay.example/oauth2callback", "cookie_secret": "ab" * 20,
        "client_id": "countersight", "client_secret": "not-shown-anywhere",
        "server_metadata_url": "https://id.quay.example/.well-known/openid-configuration"}


def toml(folder: Path, **changes: str | None) -> str:
    values = {k: v for k, v in {**GOOD, **changes}.items() if v is not None}
    file = folder / "sign-in.toml"
    file.write_text("[auth]\n" + "".join(f'{k} = "{v}"\n' for k, v in values.items()))
    return str(file)


# --- the file

@pytest.fixture
def with_authlib(monkeypatch):
    monkeypatch.setattr("app.sign_in.find_spec", lambda name: object())


def test_a_good_file_names_the_address(tmp_path, with_authlib):
    assert check_sign_in(toml(tmp_path)).host == "drain.quay.example"


@pytest.mark.parametrize(("changes", "said"), [
    *(({key: None}, f"lacks {key}") for key in NEEDED),
    ({"cookie_secret": "short"}, "at least 32 random characters"),
    ({"redirect_uri": "http://drain.quay.example/oauth2callback"}, "must begin with https://"),
    ({"redirect_uri": "https://drain.quay.example/"}, "/oauth2callback"),
    ({"server_metadata_url": "http://id.quay.example/x"}, "must begin with https://"),
])
def test_a_file_that_would_not_protect_is_refused(tmp_path, with_authlib, changes, said):
    with pytest.raises(InputError) as caught:
        check_sign_in(toml(tmp_path, **changes))
    assert said in str(caught.value) and "not-shown-anywhere" not in str(caught.value)


@pytest.mark.parametrize("content", [None, "auth = ", "\xff\xfe", "[other]\nx = 1\n"])
def test_no_file_and_no_toml(tmp_path, with_authlib, content):
    file = tmp_path / "sign-in.toml"
    if content is not None:
        file.write_text(content, encoding="latin-1")
    with pytest.raises(InputError):
        check_sign_in(str(file))


def test_the_missing_package_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr("app.sign_in.find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"countersight\[auth\]"):
        check_sign_in(toml(tmp_path))


# --- the address

@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5", "ward.example"])
def test_other_machines_are_let_in_only_knowingly_or_with_sign_in(host, monkeypatch):
    monkeypatch.setattr("app.commands.serve.socket.getaddrinfo", lambda *a: [])
    with pytest.raises(InputError, match="--sign-in FILE"):
        check_host(host, allow_remote=False)
    check_host(host, allow_remote=True)
    check_host(host, allow_remote=False, signed=True)


def test_the_command_refuses_in_one_sentence(capsys, tmp_path):
    assert main(["serve", "--host", "0.0.0.0", "--data", str(tmp_path), "--no-browser"]) == 2
    said = capsys.readouterr()
    assert "without encryption or sign-in" in said.err and said.err.count("\n") == 1


def test_a_proxy_alone_opens_nothing(tmp_path, with_authlib):
    """Without sign-in only this machine's own names are answered."""
    def names(**more):
        words = server_words(Path("main.py"), "127.0.0.1", 8501, **more)
        return {w.split("=")[1] for w in words if w.startswith("--server.allowedHosts=")}

    here = {"localhost", "127.0.0.1", "::1"}
    assert names() == here
    assert names(sign_in=check_sign_in(toml(tmp_path))) == here | {"drain.quay.example"}
    assert names(open_to_all=True) == set()


# --- the pages

SCRIPT = """
import streamlit as st
from app.ui import signed_in
from app.pages.shift import page
if signed_in.let_in():
    page()
"""


@pytest.fixture
def ward(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return Store.open(tmp_path / "ward")


def test_nobody_sees_a_page_without_signing_in(ward):
    at = AppTest.from_string(SCRIPT, default_timeout=30)
    at.user = {"is_logged_in": False}
    at.run()
    assert not at.exception and [b.label for b in at.button] == ["Sign in"]
    assert not at.text_input


def test_a_sign_in_without_a_subject_is_none(ward):
    at = AppTest.from_string(SCRIPT, default_timeout=30)
    at.user = {"is_logged_in": True, "email": "someone@quay.example"}
    at.run()
    assert [b.label for b in at.button] == ["Sign in"]


@pytest.mark.slow
def test_the_confirming_identity_is_on_record(ward):
    """Subject and issuer, as OpenID Connect Core 1.0 (2014), section 5.7, asks for."""
    at = AppTest.from_string(SCRIPT, default_timeout=30)
    at.user = {"is_logged_in": True, "sub": "248289761001", "iss": "https://id.quay.example",
               "email": "m.k@quay.example"}
    at.run()
    at.text_input(key="sh-bed").set_value(str(BED)).run()
    next(g for g in at.button_group if g.key.startswith("ev-name")).set_value("bag-changed").run()
    next(t for t in at.text_input if t.key.startswith("by-ev-")).set_value("M.K.").run()
    next(b for b in at.button if b.key.startswith("confirm-ev-")).click().run()
    (entry,) = ward.entries()
    assert entry.identity == "248289761001 at https://id.quay.example"
    assert entry.initials == "M.K."


def test_without_sign_in_there_is_no_identity_and_the_page_is_open(ward):
    at = AppTest.from_string(SCRIPT, default_timeout=30)
    at.user = {}
    at.run()
    assert not at.exception and at.text_input


def confirming_calls() -> list[tuple[str, ast.Call]]:
    """Every call of the confirming act from a page."""
    found = []
    for file in sorted([*ROOT.glob("app/ui/**/*.py"), *ROOT.glob("app/pages/*.py")]):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        ours = {a.asname or a.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
                and (node.module or "").startswith("app.records") for a in node.names
                if a.name == "confirm"}
        found += [(f"{file.relative_to(ROOT)}:{n.lineno}", n) for n in ast.walk(tree)
                  if isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id in ours]
    return found


def test_every_confirming_act_of_a_page_says_who_is_signed_in():
    calls = confirming_calls()
    assert len(calls) >= 3
    without = [where for where, call in calls
               if not any(k.arg in ("identity", None) for k in call.keywords)]
    assert without == [], "these confirm without identity=who.identity"

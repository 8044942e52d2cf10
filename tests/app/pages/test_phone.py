"""The page "Phone": an address to scan where there is one, and what a phone will warn of."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest


def drawn(monkeypatch: pytest.MonkeyPatch, address: str, fingerprint: str = "") -> str:
    monkeypatch.setenv("COUNTERSIGHT_ADDRESS", address)
    monkeypatch.setenv("COUNTERSIGHT_LAB", fingerprint)

    def script() -> None:
        from app.pages import phone

        phone.page()

    at = AppTest.from_function(script, default_timeout=60).run()
    assert not at.exception
    return "".join(element.proto.body for element in at.get("html"))


def test_without_an_address_it_says_why_no_phone_reaches_it(monkeypatch) -> None:
    body = drawn(monkeypatch, "")
    assert "No phone reaches these pages" in body and "--lab --allow-remote" in body


def test_a_lab_on_this_machine_alone_is_not_told_to_begin_one(monkeypatch) -> None:
    body = drawn(monkeypatch, "", "AB:CD")
    assert "No phone reaches these pages" in body and "answer on this machine only" in body
    assert "without encryption" not in body and "without --host" in body


def test_a_lab_is_told_what_the_phone_will_say(monkeypatch) -> None:
    body = drawn(monkeypatch, "https://192.0.2.7:8501", "AB:CD")
    assert "data:image/svg+xml" in body and "https://192.0.2.7:8501" in body
    assert "connection is not private" in body and "AB:CD" in body


def test_under_a_trusted_certificate_nobody_learns_to_go_past_a_warning(monkeypatch) -> None:
    body = drawn(monkeypatch, "https://drain.quay.example")
    assert "data:image/svg+xml" in body and "warn" not in body

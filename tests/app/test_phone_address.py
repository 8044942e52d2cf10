"""The address for phones: which it is, and the codes that carry it, read by OpenCV's reader."""

from __future__ import annotations

import base64

import cv2
import numpy as np
import pytest

from app.commands.serve import phone_address
from app.phone_address import code_as_picture, code_as_text, own_network_address
from app.sign_in import SignIn
from vision.errors import InputError

ADDRESS = "https://192.0.2.7:8501"


def decoded(light: np.ndarray) -> str:
    """What an independent reader finds in a code, True where a module is light."""
    large = np.kron(light.astype(np.uint8) * 255, np.ones((8, 8), np.uint8))
    return cv2.QRCodeDetector().detectAndDecode(large)[0]


def test_the_code_on_a_terminal_says_the_address() -> None:
    upper = {"\N{FULL BLOCK}": 1, "\N{UPPER HALF BLOCK}": 1, "\N{LOWER HALF BLOCK}": 0, " ": 0}
    lower = {"\N{FULL BLOCK}": 1, "\N{UPPER HALF BLOCK}": 0, "\N{LOWER HALF BLOCK}": 1, " ": 0}
    lines = code_as_text(ADDRESS).split("\n")
    rows = [[half[sign] for sign in line] for line in lines for half in (upper, lower)]
    assert decoded(np.array(rows)) == ADDRESS
    assert max(map(len, lines)) <= 80


def test_the_code_on_a_page_is_black_on_white_and_needs_nothing_from_elsewhere() -> None:
    kind, data = code_as_picture(ADDRESS).split(",", 1)
    svg = base64.b64decode(data).decode()
    assert kind == "data:image/svg+xml;base64" and 'fill="#fff"' in svg and 'stroke="#000"' in svg


@pytest.mark.parametrize(("host", "encrypted", "address"), [
    ("127.0.0.1", False, ""), ("127.0.0.1", True, ""), ("192.0.2.7", False, ""),
    ("192.0.2.7", True, ADDRESS), ("2001:db8::7", True, "https://[2001:db8::7]:8501"),
    ("ward.example", True, "https://ward.example:8501"),
    ("0.0.0.0", True, "https://192.0.2.9:8501"),
])
def test_only_an_encrypted_address_that_others_reach_is_one_for_phones(
        host: str, encrypted: bool, address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.commands.serve.own_network_address", lambda: "192.0.2.9")
    assert phone_address(host, 8501, None, encrypted=encrypted) == address


def test_behind_a_proxy_it_is_the_proxys(tmp_path) -> None:
    ours = SignIn(tmp_path, "drain.quay.example", "https://drain.quay.example:8443")
    assert phone_address("127.0.0.1", 8501, ours, encrypted=False) == ours.address


@pytest.mark.parametrize("name", ["0.0.0.0", "127.0.0.1"])
def test_a_machine_in_no_network_is_told_so(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    class Probe:
        def __init__(self, *kind): ...
        def __enter__(self): return self
        def __exit__(self, *what): ...
        def connect(self, address): ...
        def getsockname(self): return (name, 1)

    monkeypatch.setattr("app.phone_address.socket.socket", Probe)
    with pytest.raises(InputError, match="in no network"):
        own_network_address()

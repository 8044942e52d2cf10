"""Who may talk to the page server, who may bring files, how many, and when they go."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from page_client import PageClient
from serving import free_port
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.uploaded_file_manager import UploadedFileRec
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from app.commands.serve import server_words
from app.entry.gate import Gate
from app.ui import session_files

ROOT = Path(__file__).resolve().parents[3]

#: The pages in a process that notes and refuses every look for an outside host, and that
#: waits for seconds where the real one waits for minutes.
SERVER = """
import socket, sys
ASKED = sys.argv[1]
real = socket.socket.connect

def outside(place):
    return isinstance(place, tuple) and str(place[0]) not in ("127.0.0.1", "::1", "localhost")

def noted(what):
    with open(ASKED, "a") as log:
        log.write(f"{what}\\n")
    raise OSError("no network")

def guarded(self, place):
    return noted(place) if outside(place) else real(self, place)

look_up = socket.getaddrinfo

def looked_up(host, *more, **options):
    name = host.decode() if isinstance(host, bytes) else host
    return noted(host) if name not in (None, "127.0.0.1", "::1", "localhost") else look_up(
        host, *more, **options)

socket.socket.connect, socket.getaddrinfo = guarded, looked_up
from app.entry import gate
from app.ui import session_files
session_files.FILES_WAIT_S, session_files.SESSION_WAITS_S = 1.0, 4.0
gate._SWEEP_EVERY_S = 0.2
sweep = session_files.sweep

def told(now_s):
    sweep(now_s)
    with open(ASKED + ".held", "w") as note:
        note.write(str(session_files.pending()[1]))

session_files.sweep = told
from app.cli import main
sys.exit(main(sys.argv[2:]))
"""


@dataclass(frozen=True)
class Station:
    """A page server and the list of outside hosts it looked for: no file while there are none."""

    url: str
    asked: Path


def running(folder: Path, *more: str) -> Iterator[Station]:
    port, asked, script = free_port(), folder / "asked", folder / "server.py"
    script.write_text(SERVER)
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, str(script), str(asked), "serve", "--port", str(port), "--data",
             str(folder / "ward"), "--no-browser", *more], cwd=folder, stdout=log, stderr=log,
            env={**os.environ, "PYTHONPATH": str(ROOT)})
    url = f"http://127.0.0.1:{port}"
    try:
        for _ in range(1800):
            try:
                PageClient(url)
                break
            except OSError:
                assert process.poll() is None, (folder / "log").read_text()
                time.sleep(0.1)
        yield Station(url, asked)
    finally:
        process.terminate()
        process.wait(timeout=30)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Station]:
    yield from running(tmp_path_factory.mktemp("open"))


@pytest.fixture(scope="module")
def signed_pages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Station]:
    folder = tmp_path_factory.mktemp("signed")
    file = folder / "sign-in.toml"
    file.write_text(
        '[auth]\nredirect_uri = "https://drain.quay.example/oauth2callback"\n'
        f'cookie_secret = "{"0f" * 32}"\nclient_id = "countersight"\nclient_secret = "s"\n'
        'server_metadata_url = "https://id.quay.example/.well-known/openid-configuration"\n')
    yield from running(folder, "--sign-in", str(file))


def held_bytes(station: Station) -> int:
    """How much the page server holds of uploads now, by its own count a moment later."""
    note, now = station.asked.with_name("asked.held"), time.time()
    for _ in range(600):
        time.sleep(0.05)
        if note.exists() and note.stat().st_mtime > now and (text := note.read_text()):
            return int(text)
    pytest.fail("the page server does not sweep")


def gone(station: Station) -> bool:
    """Whether the page server holds no upload any more, soon."""
    return any(held_bytes(station) == 0 for _ in range(50))


# --- the real server

@pytest.mark.parametrize("origin", ["http://evil.example", "https://127.0.0.1.evil.example",
                                    "http://127.0.0.1:9", "null", "http://[", ""])
def test_a_foreign_page_is_refused_and_no_outside_host_is_asked(
        pages: Station, origin: str) -> None:
    host = pages.url.removeprefix("http://")
    with pytest.raises(InvalidStatus) as refused, connect(
            f"ws://{host}/_stcore/stream", origin=origin,  # type: ignore[arg-type]
            open_timeout=60, subprotocols=["streamlit"]):  # type: ignore[list-item]
        pass
    assert refused.value.response.status_code == 403
    for path in ("/_stcore/health", "/media/x.png", "/_stcore/host-config"):
        assert PageClient(pages.url).get(path, Origin=origin) == 403
    assert not pages.asked.exists(), pages.asked.read_text()


def test_its_own_page_by_any_of_its_names_asks_no_outside_host(pages: Station) -> None:
    client = PageClient(pages.url)
    client.visit()
    client.leave()
    for name in ("localhost", "ward.quay.example"):
        assert client.get("/_stcore/health", Host=name, Origin=f"https://{name}") == 200
    assert not pages.asked.exists(), pages.asked.read_text()


def test_nobody_brings_a_file_without_a_page_of_their_own(pages: Station) -> None:
    one, other = PageClient(pages.url), PageClient(pages.url)
    assert one.upload(b"x", session="no-such-session") == 403
    one.visit()
    assert other.upload(b"x", session=one.session) == 403, "another browser"
    other.cookies.clear()
    assert other.upload(b"x", session=one.session) == 403, "no cookie"
    assert held_bytes(pages) == 0
    one.leave()


def test_a_session_brings_so_much_and_it_goes_when_the_tab_is_closed(
        pages: Station) -> None:
    client = PageClient(pages.url)
    client.visit()
    photo = bytes(38 * 1024 * 1024)
    statuses = [client.upload(photo, f"file-{n}") for n in range(4)]
    assert statuses[:2] == [204, 204] and set(statuses[2:]) <= {429, 0}
    assert held_bytes(pages) == 2 * len(photo)
    client.leave()
    assert gone(pages)


def test_small_files_are_counted_too(pages: Station) -> None:
    client = PageClient(pages.url)
    client.visit()
    statuses = [client.upload(b"x", f"file-{n}") for n in range(session_files.MOST_FILES + 2)]
    assert statuses == [204] * session_files.MOST_FILES + [429, 429]
    assert held_bytes(pages) == session_files.MOST_FILES
    client.leave()
    assert gone(pages)


def test_before_sign_in_nothing_can_be_brought(signed_pages: Station) -> None:
    client = PageClient(signed_pages.url)
    client.visit()
    assert client.session
    statuses = [client.upload(bytes(1_000_000), f"file-{n}") for n in range(10)]
    assert set(statuses) <= {403, 0} and held_bytes(signed_pages) == 0
    client.leave()
    assert not signed_pages.asked.exists()


@pytest.mark.parametrize(("host", "name"), [
    ("127.0.0.1", "127.0.0.1"), ("0.0.0.0", "localhost"), ("[::]", "localhost"),
    ("192.0.2.7", "192.0.2.7")])
def test_the_page_server_is_told_its_name(host: str, name: str) -> None:
    """Where it is not told, it asks an outside host for it as it starts."""
    assert f"--browser.serverAddress={name}" in server_words(
        Path("asgi.py"), host, 8501, open_to_all=True)


# --- the gate by itself

class Server:
    """As much of the page server's inside as the gate and the sweep use."""

    def __init__(self) -> None:
        self.uploaded_file_mgr = MemoryUploadedFileManager("/upload")
        self.media_file_mgr = self
        self.connected: set[str] = set()
        self.closed: list[str] = []

    def is_active_session(self, session: str) -> bool:
        return session in self.connected

    def close_session(self, session: str) -> None:
        self.closed.append(session)
        self.uploaded_file_mgr.remove_session_files(session)

    def remove_orphaned_files(self) -> None:
        pass


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Server:
    made = Server()
    monkeypatch.setattr(session_files.runtime, "get_instance", lambda: made)
    monkeypatch.setattr(session_files, "_guests", {})
    return made


def guest(session: str, server: Server, size: int = 0) -> None:
    session_files._guests[session] = session_files._Guest(f"browser-{session}", 0.0)
    server.connected.add(session)
    if size:
        server.uploaded_file_mgr.add_file(session, UploadedFileRec("f", "a", "b", bytes(size)))


def bring(gate: Gate, session: str, length: str) -> int:
    statuses: list[int] = []

    async def send(message: Any) -> None:
        statuses.append(message.get("status", 0))

    scope = {"type": "http", "method": "PUT", "path": f"/_stcore/upload_file/{session}/x",
             "headers": [(b"content-length", length.encode()),
                         (b"cookie", f"{session_files.COOKIE}=browser-{session}".encode())]}
    # In a thread of its own: a browser of another test may have a loop running in this one.
    with ThreadPoolExecutor(1) as beside:
        beside.submit(asyncio.run, gate(scope, None, send)).result()  # type: ignore[arg-type]
    return statuses[0]


async def taken(scope: Any, receive: Any, send: Any) -> None:
    await send({"type": "http.response.start", "status": 204, "headers": []})


def test_all_sessions_together_bring_so_much(server: Server) -> None:
    gate = Gate(taken)
    each = 30_000_000
    for n in range(20):
        guest(f"s{n}", server, each if n < 11 else 0)
    held = 11 * each
    assert held < session_files.MOST_SERVER_BYTES < held + 6_000_000
    assert bring(gate, "s15", "1000000") == 204
    assert bring(gate, "s15", "39000000") == 503
    server.close_session("s0")
    assert bring(gate, "s15", "30000000") == 204


def test_what_is_under_way_counts(server: Server) -> None:
    guest("s", server)
    within: list[int] = []

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        # While this one comes in, so does the next.
        within.append(await asyncio.to_thread(bring, gate, "s", "41000000"))
        await taken(scope, receive, send)

    gate = Gate(slow)
    assert bring(gate, "s", "41000000") == 204
    assert within == [429, 204], "the third would be more than two photos"
    assert not gate._coming and not gate._files, "what came in is counted no more"


@pytest.mark.parametrize(("length", "status"), [
    ("", 411), ("-5", 411), ("1e3", 411), ("\u0662", 411), ("9" * 30, 413), ("43000001", 413)])
def test_a_length_that_is_none(server: Server, length: str, status: int) -> None:
    guest("s", server)
    assert bring(Gate(taken), "s", length) == status


def test_files_go_after_a_minute_and_the_session_after_ten(server: Server) -> None:
    guest("stays", server, 10)
    guest("leaves", server, 10)
    session_files.sweep(100.0)
    server.connected.discard("leaves")
    server.uploaded_file_mgr.add_file("nobody", UploadedFileRec("f", "a", "b", b"x"))
    session_files.sweep(159.0)
    assert session_files.pending() == (2, 20), "what no session owns is gone at once"
    session_files.sweep(161.0)
    assert session_files.pending("leaves") == (0, 0) and session_files.pending("stays") == (1, 10)
    assert session_files.may_fetch("browser-leaves") and not server.closed
    session_files.sweep(701.0)
    assert server.closed == ["leaves"] and not session_files.may_fetch("browser-leaves")
    assert session_files.may_fetch("browser-stays")


def test_a_connection_that_comes_back_counts_from_then(server: Server) -> None:
    guest("s", server, 10)
    session_files.sweep(100.0)
    server.connected.clear()
    session_files.sweep(150.0)
    server.connected.add("s")
    session_files.sweep(200.0)
    server.connected.clear()
    session_files.sweep(250.0)
    assert session_files.pending("s") == (1, 10)

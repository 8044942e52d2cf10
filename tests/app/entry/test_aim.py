"""Looks at a live picture: of sessions that were let in, when a worker is free, kept by nobody."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import slow_readers
from level_rooms import card_picture
from starlette.applications import Starlette
from starlette.testclient import TestClient

from app.entry import aim
from app.readers import pool
from app.readers.job import Job
from app.ui import session_files
from app.ui.camera import targets
from vision.scale_file.scale import load_scale

HERE = Path(__file__).resolve().parents[2]
CHAMBER = HERE.parent / "sample_images" / "bench-2-clear.jpg"
URL, CARDS = f"{targets.AIM_PATH}chamber/s", f"{targets.AIM_PATH}cards/s"


@pytest.fixture
def client(monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    monkeypatch.setattr(session_files, "_guests", {"s": session_files._Guest("b", 0.0)})
    monkeypatch.setattr(targets, "_targets", {
        ("chamber", "s"): targets.chamber(load_scale("heron-100")),
        ("cards", "s"): targets.cards()})
    monkeypatch.setenv("PYTHONPATH", str(HERE))
    workers = pool.start(1)
    with TestClient(Starlette(routes=aim.ROUTES), cookies={session_files.COOKIE: "b"}) as made:
        yield made
    pool.stop(workers)


def frame() -> bytes:
    import cv2

    picture = cv2.resize(cv2.imread(str(CHAMBER)), (720, 960), interpolation=cv2.INTER_AREA)
    return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 70])[1].tobytes())


def asked(client: TestClient, address: str, content: bytes) -> Any:
    """The answer once the worker is free again, which it is a moment after the last answer."""
    for _ in range(200):
        answer = client.post(address, content=content)
        if answer.status_code != 503:
            return answer
        time.sleep(0.05)
    pytest.fail("The worker never came free.")


@pytest.mark.slow
def test_a_look_says_where_the_chamber_is_and_never_a_value(client: TestClient) -> None:
    answer = client.post(f"{URL}?ratio=1.67", content=frame())
    assert answer.status_code == 200 and answer.headers["cache-control"] == "no-store"
    said = answer.json()
    assert said["found"] and len(said["outlines"]) == 1
    assert set(said) == {"found", "ready", "words", "outlines", "elevation_deg", "too_high_mm"}
    assert "mL" not in said["words"]


@pytest.mark.slow
def test_where_down_is_goes_with_the_frame_and_nonsense_does_not(client: TestClient) -> None:
    import cv2

    picture = card_picture(0, np.array([[60, 40], [160, 40], [160, 140], [60, 140]]), (320, 240))
    card = cv2.imencode(".png", picture)[1].tobytes()
    told = asked(client, f"{CARDS}?down=0.01,0.9,0.43", card).json()
    assert told["too_high_mm"] > 20 and "lower the phone" in told["words"]
    for wrong in ("0,-1,0", "1,2", "nan,1,0", "", "x"):
        assert asked(client, f"{CARDS}?down={wrong}", card).json()["too_high_mm"] is None


@pytest.mark.slow
def test_what_is_no_picture_is_refused_and_the_worker_goes_on(client: TestClient) -> None:
    assert asked(client, URL, b"no picture").status_code == 422
    assert asked(client, f"{URL}?ratio=nonsense", frame()).status_code == 200


def test_only_the_browser_of_a_session_that_was_let_in_may_look(client: TestClient) -> None:
    assert client.post(f"{targets.AIM_PATH}chamber/other", content=b"x").status_code == 403
    client.cookies.clear()
    assert client.post(URL, content=b"x").status_code == 403
    assert client.get(URL).status_code == 405


def test_a_frame_has_a_length_within_the_limit_and_something_to_look_for(
        client: TestClient) -> None:
    assert client.post(URL, content=iter([b"x"])).status_code == 411  # sent without a length
    assert client.post(URL, content=bytes(aim.MOST_BYTES + 1)).status_code == 413
    targets._targets.clear()
    assert client.post(URL, content=b"x").status_code == 404


def test_readings_go_first(client: TestClient, tmp_path) -> None:
    workers = pool.running()
    assert workers is not None
    gate = tmp_path / "gate"
    ticket = workers.submit(Job("slow_readers", slow_readers.wait_for.__name__, (str(gate),), {}))
    began = threading.Event()
    while ticket.before() is not None:
        began.wait(0.01)
    assert client.post(URL, content=b"x").status_code == 503
    gate.touch()
    ticket.result()


def test_two_cameras_of_one_page_look_each_for_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """The round has one for the cards and one for the chamber, whose scale may not be chosen."""
    server = SimpleNamespace(is_active_session=lambda session: session == "s")
    monkeypatch.setattr(targets, "_targets", {("cards", "gone"): targets.cards()})
    monkeypatch.setattr(targets, "get_script_run_ctx", lambda: SimpleNamespace(session_id="s"))
    monkeypatch.setattr(targets, "runtime", SimpleNamespace(
        exists=lambda: True, get_instance=lambda: server))
    assert targets.point(targets.cards()) == "cards/s" and targets.point(None) == ""
    scale = load_scale("quay-60")
    assert targets.point(targets.chamber(scale)) == "chamber/s"
    assert targets.of("cards", "s") == targets.cards()
    assert targets.of("chamber", "s") == targets.chamber(scale)
    assert targets.of("cards", "gone") is None


@pytest.mark.slow
def test_a_worker_that_has_only_begun_is_left_to_its_first_look(
        client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy machine its libraries take longer than a look may: ended each time, it would
    never answer.  One that has answered before is ended, and its place is free."""
    gate = tmp_path / "gate"
    monkeypatch.setattr(aim, "_LONGEST_S", 0.2)
    monkeypatch.setattr(aim.Job, "of", lambda *job: Job("slow_readers", "look", *job[1:]))
    targets._targets["chamber", "s"] = targets.Target("chamber", slow_readers.look, (str(gate),))
    assert client.post(URL, content=b"x").status_code == 503
    (worker,) = pool.running()._workers  # type: ignore[union-attr]
    began = worker._process
    gate.touch()
    first = asked(client, URL, b"x").json()["pid"]
    assert began is not None and began.pid == first, "the one that began"

    gate.unlink()
    assert client.post(URL, content=b"x").status_code == 503
    gate.touch()
    assert asked(client, URL, b"x").json()["pid"] != first

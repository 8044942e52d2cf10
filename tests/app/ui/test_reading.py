"""How a page waits for a reading: in line with all sessions, without being lost by a touch."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest

from app.readers.job import Job
from app.ui import reading
from vision.volume import read as volume


@pytest.mark.parametrize(("before", "words"), [
    (None, ""), (0, "Waiting: yours is the next reading."),
    (1, "Waiting: one reading before yours."), (2, "Waiting: two readings before yours."),
    (10, "Waiting: ten readings before yours."), (19, "Waiting: 19 readings before yours.")])
def test_the_place_in_line_in_words(before: int | None, words: str) -> None:
    assert reading.place_in_line(before) == words


class Page:
    """As much of a page as is drawn on while waiting."""

    def __init__(self) -> None:
        self.drawn: list[tuple[str, str, bool]] = []
        self.caption = self._note("caption")
        self.empty = self._note("empty")

    def _note(self, what: str) -> Callable[..., None]:
        def note(words: str = "") -> None:
            self.drawn.append((what, words, threading.current_thread() is threading.main_thread()))
        return note


class Line:
    """A pool whose reading moves up with every look."""

    def __init__(self, places: list[int | None]) -> None:
        self.places, self.given_up = places, 0

    def submit(self, job: Job) -> Line:
        assert job.name == "read_volume"
        return self

    def done(self, wait_s: float) -> bool:
        return not self.places

    def before(self) -> int | None:
        return self.places.pop(0)

    def result(self) -> str:
        return "the reading"

    def give_up(self) -> None:
        self.given_up += 1


@pytest.fixture
def page(monkeypatch: pytest.MonkeyPatch) -> Page:
    made = Page()
    monkeypatch.setattr(reading.st, "empty", lambda: made)
    return made


def waits(monkeypatch: pytest.MonkeyPatch, places: list[int | None]) -> Line:
    line = Line(places)
    monkeypatch.setattr(reading.pool, "running", lambda: line)
    return line


def test_the_place_is_shown_as_it_moves_and_from_beside_the_run(
        page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a run draws itself is where the page server may end it, and the reading with it."""
    waits(monkeypatch, [2, 2, 1, None])
    assert reading.read(volume.read_volume, 1) == "the reading"
    assert [d[0] for d in page.drawn] == ["caption", "caption", "empty"]
    assert "two readings" in page.drawn[0][1] and "one reading" in page.drawn[1][1]
    assert not any(main for _, _, main in page.drawn)


def test_nothing_is_shown_where_nobody_waits(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    waits(monkeypatch, [None, None])
    reading.read(volume.read_volume, 1)
    assert page.drawn == []


def test_a_session_that_goes_away_gives_its_place_up(
        page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    line = waits(monkeypatch, [2] * 99)  # type: ignore[list-item]
    monkeypatch.setattr(reading, "_gone", lambda: len(line.places) < 95)

    class Stopped(BaseException):
        """As the page server ends a run."""

    def stop() -> None:
        raise Stopped

    monkeypatch.setattr(reading.st, "stop", stop)
    with pytest.raises(Stopped):
        reading.read(volume.read_volume, 1)
    assert line.given_up == 1


def test_without_workers_it_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def here(*args: Any, **options: Any) -> Any:
        return args, options, threading.current_thread()

    assert reading.pool.running() is None
    assert reading.read(here, 1, near=2) == ((1,), {"near": 2}, threading.current_thread())
    waits(monkeypatch, [])
    assert reading.read(here, 1)[0] == (1,), "nor is what a test put in its place sent away"

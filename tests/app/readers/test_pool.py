"""Readings of many sessions: one line, as many at a time as there are workers."""

from __future__ import annotations

import os
import pickle
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import slow_readers
from photo_files import encode, picture

from app.readers import pool as pools
from app.readers.job import Job
from app.readers.pool import Pool, Ticket
from vision.errors import InputError, ReadingLostError
from vision.imaging.photo import load_photo
from vision.scale_file.scale import load_scale, shipped_scales
from vision.volume import read as volume

HERE = Path(__file__).resolve().parents[2]


def job(function: Callable[..., Any], *args: Any, **options: Any) -> Job:
    return Job("slow_readers", function.__name__, args, options)


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> Iterator[Pool]:
    monkeypatch.setenv("PYTHONPATH", str(HERE))
    pool = Pool(2)
    yield pool
    pool.close()


def until(true: Callable[[], object]) -> None:
    end = time.monotonic() + 60
    while not true():
        assert time.monotonic() < end, "it does not come"
        time.sleep(0.01)


def busy(pool: Pool, folder: Path) -> list[tuple[Path, Ticket]]:
    """Every worker is reading until its file is there."""
    gates = [folder / f"gate-{n}" for n in range(pool.count)]
    tickets = [pool.submit(job(slow_readers.wait_for, str(gate))) for gate in gates]
    for gate in gates:
        until(Path(f"{gate}.begun").exists)
    return list(zip(gates, tickets, strict=True))


def test_a_line_first_come_first_served(two: Pool, tmp_path: Path) -> None:
    (gate, first), (slow, second) = busy(two, tmp_path)
    said = tmp_path / "said"
    waiting = [two.submit(job(slow_readers.note, str(said), str(n))) for n in range(5)]
    assert [t.before() for t in waiting] == [0, 1, 2, 3, 4]
    assert first.before() is None and not first.done(0)
    gate.touch()
    assert [t.outcome.result(60).result for t in waiting] == list("01234")
    assert said.read_text().split() == list("01234")
    assert not second.done(0), "one slow photo holds one worker and nobody else"
    slow.touch()
    assert first.result() != second.result(), "two processes"
    assert str(os.getpid()) not in (first.result(), second.result())


def test_who_goes_away_frees_a_place_in_line_and_a_worker(two: Pool, tmp_path: Path) -> None:
    (_, first), (gate, second) = busy(two, tmp_path)
    a, b, c = (two.submit(job(slow_readers.echo, n)) for n in range(3))
    b.give_up()
    assert (a.before(), b.before(), c.before()) == (0, None, 1)
    with pytest.raises(ReadingLostError):
        b.result()
    first.give_up()  # in the middle of its reading, which would never end
    assert a.outcome.result(60).result == ((0,), {}) and c.outcome.result(60)
    assert not second.done(0)
    gate.touch()
    assert second.outcome.result(60)


def test_giving_up_what_is_done_harms_nobody(two: Pool) -> None:
    ticket = two.submit(job(slow_readers.echo, 1, b=2))
    assert ticket.outcome.result(60).result == ((1,), {"b": 2})
    ticket.give_up()
    assert ticket.result() == ((1,), {"b": 2})
    assert two.submit(job(slow_readers.echo)).outcome.result(60)


def test_a_worker_that_falls_over_loses_one_reading(two: Pool) -> None:
    for _ in range(3):
        lost = two.submit(job(slow_readers.crash))
        until(lambda lost=lost: lost.done(0.1))  # type: ignore[misc]
        with pytest.raises(ReadingLostError, match="take it again"):
            lost.result()
        assert two.submit(job(slow_readers.echo, "next")).outcome.result(60).result[0] == ("next",)


def test_a_reading_without_end_is_ended(two: Pool, tmp_path: Path,
                                        monkeypatch: pytest.MonkeyPatch) -> None:
    (_, endless), (gate, other) = busy(two, tmp_path)
    monkeypatch.setattr(pools, "LONGEST_S", 0.2)
    until(lambda: endless.done(0.05))
    with pytest.raises(ReadingLostError, match="takes too long"):
        endless.result()
    monkeypatch.setattr(pools, "LONGEST_S", 120.0)
    gate.touch()
    assert other.outcome.result(60)


def test_errors_come_back_as_they_are_and_unforeseen_ones_without_their_words(
        two: Pool, caplog: pytest.LogCaptureFixture) -> None:
    ticket = two.submit(job(slow_readers.refuse, "Choose another scale."))
    until(lambda: ticket.done(0.1))
    with pytest.raises(InputError, match="Choose another scale"):
        ticket.result()
    ticket = two.submit(job(slow_readers.fail, "bed QUAY-3"))
    until(lambda: ticket.done(0.1))
    with pytest.raises(RuntimeError):
        ticket.result()
    assert "ZeroDivisionError" in caplog.text and "slow_readers.py" in caplog.text
    assert "QUAY-3" not in caplog.text


def test_what_a_library_prints_and_what_cannot_be_sent(two: Pool) -> None:
    assert two.submit(job(slow_readers.talk)).outcome.result(60).result == "done"
    ticket = two.submit(job(slow_readers.echo, lambda: None))
    with pytest.raises((pickle.PicklingError, AttributeError, TypeError)):
        ticket.outcome.result(60)
    assert two.submit(job(slow_readers.echo)).outcome.result(60)


@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited on Linux")
def test_a_worker_takes_no_more_memory_than_it_may(two: Pool) -> None:
    ticket = two.submit(job(slow_readers.hoard))
    assert "MemoryError" in ticket.outcome.result(60).unforeseen


def test_a_closed_pool_lets_nobody_wait(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(HERE))
    pool = Pool(1)
    (_, under_way), = busy(pool, tmp_path)
    waiting = pool.submit(job(slow_readers.echo))
    pool.close()
    for ticket in (under_way, waiting):
        with pytest.raises(ReadingLostError):
            ticket.outcome.result(60)


# --- readings

def test_only_a_function_of_vision_as_it_stands_there_is_sent() -> None:
    sent = Job.of(volume.read_volume, (1,), {"near": 2})
    assert sent == Job("vision.volume.read", "read_volume", (1,), {"near": 2})
    for other in (lambda: None, slow_readers.echo, os.getcwd, Path.exists, None, Pool(1).submit):
        assert Job.of(other, (), {}) is None


def test_a_test_that_puts_another_function_there_has_it_called(
        monkeypatch: pytest.MonkeyPatch) -> None:
    def other() -> None:
        """As tests replace a reader."""

    other.__module__, other.__qualname__ = "vision.volume.read", "read_volume"
    assert Job.of(other, (), {}) is None
    monkeypatch.setattr(volume, "read_volume", lambda: None)
    assert Job.of(volume.read_volume, (), {}) is None


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("large", [False, True])
def test_a_photo_reaches_another_process_whole(kind: str, large: bool) -> None:
    import numpy as np

    rgb = np.tile(picture(), (17, 12, 1)) if large else picture()
    photo = load_photo(encode(rgb, kind))
    assert (photo.working_scale > 1) == large
    light = len(pickle.dumps(photo))
    full = photo.rgb
    assert len(pickle.dumps(photo)) == light, "what can be made again does not travel"
    there = pickle.loads(pickle.dumps(photo))
    assert np.array_equal(there.rgb, full) and np.array_equal(there.working_gray,
                                                              photo.working_gray)
    assert not there.working_rgb.flags.writeable and not there.rgb.flags.writeable
    assert (there.camera, there.sha256) == (photo.camera, photo.sha256)


@pytest.mark.slow
def test_a_reading_by_a_worker_is_the_reading() -> None:
    from vision.level.read import read_level
    from vision.pressure_panel.read import read_setting

    sample = HERE.parent / "sample_images"
    photo, scale = load_photo(sample / "bench-1-pink.jpg"), load_scale("quay-60")
    pool = Pool(1)
    try:
        for function, args in ((volume.read_volume, (photo, scale)), (read_level, (photo,))):
            sent = Job.of(function, args, {})
            assert sent is not None
            ticket = pool.submit(sent)
            assert ticket.outcome.result(120).result.as_json() == function(*args).as_json()
        assert Job.of(read_setting, (), {}) is not None
    finally:
        pool.close()
    assert "quay-60" in shipped_scales()

"""Throughput of a set against decoding it: what is counted, and what is refused."""

from __future__ import annotations

import json
import time

import pytest
from PIL import Image

from vision.accuracy import throughput
from vision.accuracy.throughput import decode, main, measure_throughput

pytestmark = pytest.mark.slow


@pytest.fixture
def labels(tmp_path):
    for k in range(6):
        Image.new("RGB", (640, 480), (20 * k, 90, 60)).save(tmp_path / f"{k}.jpg")
    path = tmp_path / "labels.jsonl"
    path.write_text("".join(json.dumps(
        {"file": f"{k}.jpg", "scale": "quay-60", "true_value": 20, "expect": "read"}) + "\n"
        for k in range(6)))
    return path


def _thrice(label):
    return [decode(label) for _ in range(3)]


def _slow(label):
    time.sleep(0.05)
    return decode(label)


def test_the_ratio_is_that_of_the_two_rates(labels):
    """A reader that sleeps 50 ms reads fewer than 20 images a second."""
    found = measure_throughput(labels, read=_slow)
    assert (found.images, found.workers) == (6, 1)
    assert found.read_per_second < 20
    assert found.times_decode == pytest.approx(found.decoded_per_second / found.read_per_second)
    assert found.times_decode > 1


def test_a_pool_is_timed_too_and_at_most_the_images_asked_for(labels):
    found = measure_throughput(labels, workers=2, images=4, read=_thrice)
    assert (found.images, found.workers) == (4, 2) and found.read_per_second > 0


def test_the_clock_starts_when_the_workers_are_warm(labels, monkeypatch):
    """The first results, 2 a worker, are not counted, however slow."""
    seen = []

    def work(label):
        seen.append(label.file)
        if len(seen) <= 2:
            time.sleep(0.3)

    started = time.perf_counter()
    rate = throughput._rate(work, list(throughput.read_labels(labels)), 1)
    assert len(seen) == 8 and time.perf_counter() - started > 0.6
    assert rate > 6 / 0.6


def test_bad_input_is_one_sentence(labels, tmp_path, capsys):
    (tmp_path / "3.jpg").write_bytes(b"no picture")
    assert main([str(labels)]) == 2
    assert "decoded" in capsys.readouterr().err
    assert main([str(tmp_path / "none.jsonl")]) == 2

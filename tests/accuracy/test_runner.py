"""The run: order, resuming, lost workers, other engines, and nothing held in memory."""

from __future__ import annotations

import json
import tracemalloc
from dataclasses import asdict, replace
from pathlib import Path

import accuracy_readers as readers
import pytest

from vision.accuracy import charts, read_rows, run_benchmark
from vision.accuracy import store as storing
from vision.accuracy.engines import Pool
from vision.accuracy.measure import compare
from vision.errors import InputError, LabelFileError


def labels(tmp_path: Path, n: int, **extra: object) -> Path:
    path = tmp_path / "labels.jsonl"
    path.write_text("".join(json.dumps(
        {"file": f"{i}.jpg", "scale": "quay-60", "true_value": 20 + i % 7, "expect": "read",
         "tier": "easy" if i % 2 else "hard", **extra}) + "\n" for i in range(n)))
    return path


def rows(out: Path) -> list[dict]:
    return [asdict(replace(row, seconds=0.0)) for row in read_rows(out / "results.jsonl")]


@pytest.mark.slow
def test_rows_come_in_the_order_of_the_labels_and_the_pool_finds_the_same(tmp_path):
    path = labels(tmp_path, 12)
    here = run_benchmark(path, tmp_path / "a", 1, progress=False, measure=readers.exact)
    pool = run_benchmark(path, tmp_path / "b", 2, progress=False, measure=readers.exact)
    assert rows(tmp_path / "a") == rows(tmp_path / "b")
    assert [r["index"] for r in rows(tmp_path / "b")] == list(range(12))
    assert here.kinds["volume"].overall.errors == pool.kinds["volume"].overall.errors


@pytest.mark.slow
def test_a_killed_run_goes_on_where_it_stopped(tmp_path):
    path, out = labels(tmp_path, 10), tmp_path / "out"
    run_benchmark(path, out, progress=False, measure=readers.exact)
    whole = rows(out)
    lines = (out / "results.jsonl").read_text().splitlines(keepends=True)
    (out / "results.jsonl").write_text("".join(lines[:4]) + lines[4][:30])  # torn by the kill
    seen = []

    def watched(label):
        seen.append(label.index)
        return readers.exact(label)

    run_benchmark(path, out, progress=False, measure=watched)
    assert seen == [4, 5, 6, 7, 8, 9]
    assert rows(out) == whole


@pytest.mark.slow
def test_results_of_other_labels_or_another_reader_are_not_mixed_in(tmp_path, monkeypatch):
    path, out = labels(tmp_path, 3), tmp_path / "out"
    run_benchmark(path, out, progress=False, measure=readers.exact)
    labels(tmp_path, 5)
    run_benchmark(path, out, progress=False, measure=readers.exact)
    assert len(rows(out)) == 5
    assert len(list(read_rows(out / "results.previous.jsonl"))) == 3
    monkeypatch.setattr(storing, "reader_digest", lambda: "another reader")
    seen = []
    run_benchmark(path, out, progress=False,
                  measure=lambda label: (seen.append(1), readers.exact(label))[1])
    assert len(seen) == 5


@pytest.mark.slow
def test_an_image_that_kills_its_worker_costs_only_itself(tmp_path):
    path = labels(tmp_path, 8)
    run_benchmark(path, tmp_path / "out", 2, progress=False, measure=readers.deadly)
    found = rows(tmp_path / "out")
    assert [r["status"] for r in found] == ["read"] * 5 + ["error"] + ["read"] * 2
    assert "killed" in found[5]["message"]


@pytest.mark.slow
def test_a_fault_of_the_reader_is_a_row_and_never_a_crash(tmp_path):
    """The pictures do not exist: every image is an error, and the run ends well."""
    summary = run_benchmark(labels(tmp_path, 3), tmp_path / "out", progress=False)
    overall = summary.kinds["volume"].overall
    assert overall.stopped_by_error == 3 and overall.scored == 0
    assert overall.refused_though_readable.count == 3
    assert all(r["message"] for r in rows(tmp_path / "out"))


def test_tasks_are_not_taken_far_ahead_of_results():
    taken = 0

    def tasks():
        nonlocal taken
        for k in range(200):
            taken += 1
            yield k

    results = Pool(2).map(abs, tasks(), lambda task, why: -1)
    for k in range(5):
        assert next(results) == k
    assert taken <= 5 + 8
    results.close()


@pytest.mark.slow
def test_memory_does_not_grow_with_the_set(tmp_path, monkeypatch):
    """Ten times the images: the peak grows by the columns (about 0.2 kB a row), not by
    the rows themselves (about 1.2 kB each, 4 kB as objects).  The number of points drawn
    has an upper bound of its own, lowered here so that both sets reach it."""
    monkeypatch.setattr(charts, "MOST_POINTS", 100)

    def peak(n: int, name: str) -> int:
        (tmp_path / name).mkdir()
        path = labels(tmp_path / name, n)
        tracemalloc.start()
        run_benchmark(path, tmp_path / name / "out", progress=False, measure=_quick)
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    peak(50, "warm-up")
    assert (peak(3000, "large") - peak(300, "small")) / 2700 < 600


def _quick(label):
    value = label.truth + 0.1
    return compare(label, {"status": "read", "unit": "mL", "value": value, "division": 1.0,
                           "misread_limit": 1.0, "interval": (value - 1, value + 1)}, 0.0)


def test_bad_input_is_one_sentence_before_any_image_is_read(tmp_path):
    path = labels(tmp_path, 2)
    with pytest.raises(InputError, match="workers"):
        run_benchmark(path, tmp_path / "out", 0, progress=False)
    (tmp_path / "empty.jsonl").write_text("\n")
    with pytest.raises(LabelFileError, match="no image"):
        run_benchmark(tmp_path / "empty.jsonl", tmp_path / "out", progress=False)
    with path.open("a") as handle:
        handle.write("{bad\n")
    with pytest.raises(LabelFileError, match="Line 3"):
        run_benchmark(path, tmp_path / "out", progress=False)
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_a_dask_cluster_finds_what_the_pool_finds(tmp_path):
    distributed = pytest.importorskip("distributed", reason="the extra 'distributed' is missing")
    path = labels(tmp_path, 9)
    run_benchmark(path, tmp_path / "pool", 2, progress=False, measure=readers.exact)
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True,
                                  dashboard_address=None) as cluster:
        run_benchmark(path, tmp_path / "dask", progress=False, measure=readers.exact,
                      scheduler=cluster.scheduler_address)
    assert rows(tmp_path / "dask") == rows(tmp_path / "pool")


@pytest.mark.slow
def test_a_scheduler_that_does_not_answer_is_one_sentence(tmp_path):
    pytest.importorskip("distributed", reason="the extra 'distributed' is missing")
    with pytest.raises(InputError, match="scheduler"):
        run_benchmark(labels(tmp_path, 1), tmp_path / "out", progress=False,
                      scheduler="no address")

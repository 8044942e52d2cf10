"""One run of the benchmark: labels in, results, report, table and summary out."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import asdict
from itertools import islice
from pathlib import Path
from typing import Any

from vision.accuracy import comparison, people
from vision.accuracy import measure as measuring
from vision.accuracy.engines import engine_for
from vision.accuracy.labels import Label, read_labels
from vision.accuracy.progress import Progress, on_standard_error
from vision.accuracy.report import write_report
from vision.accuracy.rows import Row, read_rows
from vision.accuracy.sets import PhotoSet, lost_set, measure_set, photo_sets
from vision.accuracy.sets_report import write_sets_report
from vision.accuracy.sets_summary import SetsSummary, summarise_sets
from vision.accuracy.store import PREVIOUS, RESULTS, Results
from vision.accuracy.summary import Summary, gather, summarise
from vision.accuracy.table import write_table
from vision.accuracy.trial import read_attempts
from vision.errors import InputError, LabelFileError

Measure = Callable[[Label], Row]
MeasureSet = Callable[[PhotoSet], tuple[Row, ...]]


def run_benchmark(
    labels: str | Path, out: str | Path, workers: int = 1,
    compare: str | Path | None = None, progress: bool | Progress = True, *,
    scheduler: str | None = None, readers: str | Path | None = None,
    measure: Measure = measuring.measure,
) -> Summary:
    """Read every image of a label file and write the evidence into the folder ``out``.

    Writes ``results.jsonl`` (one row per image, appended as the images are
    read), ``results.csv``, ``summary.json`` and ``report.html``.  A run that was
    killed goes on where it stopped, as long as labels and reader are the same.
    ``scheduler`` is the address of a Dask scheduler that takes the place of the
    process pool.  ``compare`` is the ``summary.json`` of an earlier run (its
    ``results.jsonl`` lies beside it), ``readers`` the file of a reading trial.
    Raises ``LabelFileError`` for a label file that cannot be used, before any
    image is read.
    """
    labels, out = Path(labels), Path(out)
    if compare is not None:
        comparison.results_of(compare)
    if readers is not None and not os.path.isfile(readers):
        raise InputError(f"There is no reading trial at '{readers}'.")
    total = sum(1 for _ in read_labels(labels))
    if total == 0:
        raise LabelFileError(f"The label file '{labels}' holds no image.")
    engine = engine_for(workers, scheduler)
    if readers is not None:
        for _ in read_attempts(readers):  # a file that is no trial is named before the work
            pass
    results = Results(out, labels, {})
    try:
        tell = on_standard_error(results.done) if progress is True else progress or _quiet
        left: Iterator[Label] = islice(read_labels(labels), results.done, None)
        tell(results.done, total)
        for row in engine.map(measure, left, _lost):
            results.append(row)
            tell(results.done, total)
    finally:
        results.close()
    return write_evidence(labels, out, compare, readers)


def run_sets(
    labels: str | Path, out: str | Path, workers: int = 1, progress: bool | Progress = True, *,
    scheduler: str | None = None, measure: MeasureSet = measure_set,
) -> SetsSummary:
    """Read the photos of each ``set`` of a label file together; evidence as for single images.

    ``results.jsonl`` then has one row for each combination of the photos of a set (each alone,
    any two, any three, all).  A run that was killed goes on where it stopped.
    """
    labels, out = Path(labels), Path(out)
    sets = photo_sets(read_labels(labels))
    engine = engine_for(workers, scheduler)
    results = Results(out, labels, {"sets": True})
    try:
        finished = lines = 0
        for each in sets:
            if lines + len(each.combinations()) > results.done:
                break
            lines += len(each.combinations())
            finished += 1
        results.keep(lines)
        tell = on_standard_error(finished) if progress is True else progress or _quiet
        tell(finished, len(sets))
        for rows in engine.map(measure, iter(sets[finished:]), lost_set):
            results.append(*rows)
            finished += 1
            tell(finished, len(sets))
    finally:
        results.close()
    summary = summarise_sets(read_rows(out / RESULTS),
                             {"labels": labels.name, **_json(out / "run.json")})
    _write_json(out, summary.as_json())
    write_table(read_rows(out / RESULTS), out / "results.csv")
    write_sets_report(out / "report.html", summary)
    return summary


def write_evidence(labels: Path, out: Path, compare: str | Path | None = None,
                   readers: str | Path | None = None) -> Summary:
    """Write summary, table and report of the rows in ``out``; return the summary."""
    results = out / RESULTS
    run: dict[str, Any] = {"labels": labels.name, **_json(out / "run.json")}
    parts = gather(read_rows(results))
    summary = summarise(parts, run)
    content = summary.as_json()
    changes = trial = None
    if compare is not None:
        changes = comparison.compare_runs(_earlier(compare, out), results)
        content["comparison"] = {kind: asdict(change) for kind, change in changes.items()}
    if readers is not None:
        trial = people.summarise_people(read_attempts(readers), read_rows(results))
        if trial is None:
            raise InputError(f"No picture of this set was read in '{readers}'.")
        content["people"] = asdict(trial)
    _write_json(out, content)
    write_table(read_rows(results), out / "results.csv")
    write_report(out / "report.html", summary,
                 {kind: part.columns for kind, part in parts.items()}, labels.parent, changes,
                 trial)
    return summary


def _earlier(compare: str | Path, out: Path) -> Path:
    """The earlier results; those moved aside when they lie in the folder of this run."""
    old = comparison.results_of(compare)
    if old.resolve() != (out / RESULTS).resolve():
        return old
    if not (out / PREVIOUS).exists():
        raise InputError(f"'{compare}' is this run itself: give the run to compare with a "
                         "folder of its own.")
    return out / PREVIOUS


def _write_json(out: Path, content: dict[str, Any]) -> None:
    text = json.dumps(content, indent=1, ensure_ascii=False)
    (out / "summary.json").write_text(text + "\n", encoding="utf-8")


def _json(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8"))


def _lost(label: Label, why: str) -> Row:
    return measuring.compare(label, {"status": "error", "message": why}, 0.0)


def _quiet(done: int, total: int) -> None:
    pass

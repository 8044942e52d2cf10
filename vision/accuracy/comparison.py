"""Two runs of the same images, image by image, with paired tests."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vision.accuracy.rows import Row, read_rows
from vision.accuracy.statistics import PairedTest, mcnemar_exact, wilcoxon_signed_rank
from vision.accuracy.store import RESULTS
from vision.errors import InputError

#: So many images are listed, those that changed most.
MOST_LISTED = 40


@dataclass(frozen=True)
class Change:
    """One image of which the result changed.  Errors are in divisions (level: mm)."""

    file: str
    old_status: str
    new_status: str
    old_error: float | None
    new_error: float | None
    old_misread: bool
    new_misread: bool

    @property
    def growth(self) -> float:
        """How much |error| grew; infinite where only one of the runs read."""
        if self.old_error is None or self.new_error is None:
            return float("inf")
        return abs(self.new_error) - abs(self.old_error)


@dataclass(frozen=True)
class Comparison:
    """What changed between two runs on the images that both hold.

    ``closer`` and ``farther`` count readings of both runs that came nearer to or
    went away from the truth; ``error_test`` is Wilcoxon's on |error| new minus
    old, ``mean_change`` its mean.  ``newly_refused`` and ``newly_read`` count
    images to be read that only the old or only the new run read, ``read_test``
    is the exact McNemar test on them; likewise for silent misreads.
    """

    kind: str
    pairs: int
    only_old: int
    only_new: int
    both_read: int
    unchanged: int
    closer: int
    farther: int
    mean_change: float | None
    error_test: PairedTest
    newly_refused: int
    newly_read: int
    read_test: PairedTest
    new_misreads: int
    gone_misreads: int
    misread_test: PairedTest
    listed: tuple[Change, ...]


def compare_runs(old: Path, new: Path) -> dict[str, Comparison]:
    """Compare two runs by kind of image; each is a results file.

    Images are matched by file name and expectation; of a picture that a set
    holds more than once the first is matched with the first, and so on.
    """
    before: dict[tuple[str, str, int], Row] = {}
    for key, row in _keyed(read_rows(old)):
        before[key] = _slim(row)
    found: dict[str, list[tuple[Row, Row]]] = {}
    only_new: dict[str, int] = {}
    for key, row in _keyed(read_rows(new)):
        match = before.pop(key, None)
        if match is None or match.kind != row.kind or match.truth != row.truth:
            only_new[row.kind] = only_new.get(row.kind, 0) + 1
        else:
            found.setdefault(row.kind, []).append((match, _slim(row)))
    only_old = [row.kind for row in before.values()]
    return {kind: _compare(kind, pairs, only_old.count(kind), only_new.get(kind, 0))
            for kind, pairs in found.items()}


def results_of(where: str | Path) -> Path:
    """The results file of a run, given its folder or a file in it."""
    where = Path(where)
    path = (where if where.is_dir() else where.parent) / RESULTS
    if not os.path.exists(where) or not os.path.isfile(path):
        raise InputError(f"There is no earlier run at '{where}': give the summary.json of one, "
                         f"with its {RESULTS} beside it.")
    return path


def _keyed(rows: Iterable[Row]) -> Iterable[tuple[tuple[str, str, int], Row]]:
    seen: dict[tuple[str, str], int] = {}
    for row in rows:
        name = (row.file, row.expect)
        seen[name] = seen.get(name, -1) + 1
        yield (*name, seen[name]), row


def _slim(row: Row) -> Row:
    """The row without what a comparison does not need."""
    return Row(row.index, row.file, row.kind, row.unit, row.expect, row.status, row.verdict,
               row.misread, truth=row.truth, value=row.value, error=row.error,
               error_div=row.error_div)


def _error(row: Row) -> float | None:
    if row.verdict != "read":
        return None
    return row.error_div if row.kind == "volume" else row.error


def _compare(kind: str, pairs: list[tuple[Row, Row]], only_old: int, only_new: int) -> Comparison:
    errors = [(a, b) for a, b in ((_error(x), _error(y)) for x, y in pairs)
              if a is not None and b is not None]
    change = np.array([abs(b) - abs(a) for a, b in errors])
    refused = sum(x.verdict == "read" and y.verdict != "read" for x, y in pairs)
    read = sum(x.verdict != "read" and y.verdict == "read" for x, y in pairs)
    new = sum(y.misread and not x.misread for x, y in pairs)
    gone = sum(x.misread and not y.misread for x, y in pairs)
    changed = [Change(y.file, x.status, y.status, _error(x), _error(y), x.misread, y.misread)
               for x, y in pairs if x.status != y.status or x.value != y.value]
    changed.sort(key=lambda c: (not c.new_misread, -c.growth if np.isfinite(c.growth) else -1e9))
    return Comparison(
        kind=kind, pairs=len(pairs), only_old=only_old, only_new=only_new,
        both_read=len(errors), unchanged=len(pairs) - len(changed),
        closer=int((change < 0).sum()), farther=int((change > 0).sum()),
        mean_change=float(change.mean()) if change.size else None,
        error_test=wilcoxon_signed_rank(change), newly_refused=refused, newly_read=read,
        read_test=mcnemar_exact(refused, read), new_misreads=new, gone_misreads=gone,
        misread_test=mcnemar_exact(new, gone), listed=tuple(changed[:MOST_LISTED]))

"""People, naive and corrected readings of the same pictures, side by side."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from vision.accuracy.figures import Errors, errors_of
from vision.accuracy.gauge import GaugeStudy, gauge_study
from vision.accuracy.rows import Row
from vision.accuracy.statistics import PairedTest, wilcoxon_signed_rank
from vision.accuracy.trial import Attempt


@dataclass(frozen=True)
class ReaderFigures:
    """One reader, all people, or one of the two machine readings; errors in divisions."""

    who: str
    errors: Errors | None
    cannot_read: int
    seconds_median: float | None


@dataclass(frozen=True)
class PeopleSummary:
    """The trial.  ``within_reader_sd`` is the spread of one reader on one picture, in
    divisions, from all repeats there are; ``study`` needs pictures that every reader
    read equally often, twice or more, and takes those; ``study_images`` counts them.
    ``zoom`` counts the ``attempts`` whose reader could come nearer to all pixels of the picture.
    ``closer_test`` compares |error| of corrected readings and of people's mean per
    picture (Wilcoxon); ``corrected_closer`` of ``compared`` pictures went to the former.
    """

    readers: tuple[ReaderFigures, ...]
    images: int
    within_reader_sd: float | None
    study: GaugeStudy | None
    study_images: int
    compared: int
    corrected_closer: int
    closer_test: PairedTest | None
    attempts: int
    zoom: int


def summarise_people(attempts: Iterable[Attempt], rows: Iterable[Row]) -> PeopleSummary | None:
    """Merge a trial with the results of a run; None when no picture is in both.

    Only volume pictures with a true value that are expected to be read count.
    """
    attempts = list(attempts)
    wanted = {a.file for a in attempts}
    machine = {r.file: r for r in rows if r.file in wanted and r.kind == "volume"
               and r.expect == "read" and r.truth is not None and _division(r)}
    attempts = [a for a in attempts if a.file in machine]
    if not attempts:
        return None
    error = [(a, (a.value - machine[a.file].truth) / _division(machine[a.file]))  # type: ignore[operator]
             for a in attempts if a.value is not None]
    readers = sorted({a.reader for a in attempts})
    lines = [_reader(code, [a for a in attempts if a.reader == code],
                     [e for a, e in error if a.reader == code]) for code in readers]
    lines.append(_reader("all people", attempts, [e for _, e in error]))
    for who, name in (("naive", "naive_error_div"), ("corrected", "error_div")):
        got = [getattr(r, name) for r in machine.values() if r.status == "read"]
        lines.append(ReaderFigures(
            who, errors_of(np.array([x for x in got if x is not None], dtype=float)),
            sum(r.status != "read" for r in machine.values()),
            float(np.median([r.seconds for r in machine.values()]))))
    cells: dict[tuple[str, str], list[float]] = {}
    for a, e in error:
        cells.setdefault((a.file, a.reader), []).append(e)
    study, study_images = _study(cells, readers)
    pairs = _pairs(cells, machine)
    return PeopleSummary(
        tuple(lines), len(machine), _within(cells), study, study_images, len(pairs),
        sum(ours < people for ours, people in pairs),
        wilcoxon_signed_rank(np.array([a - b for a, b in pairs])) if pairs else None,
        len(attempts), sum(a.zoom for a in attempts))


def _division(row: Row) -> float:
    stated = row.keys.get("division")
    return float(row.division or (stated if isinstance(stated, (int, float)) else 0.0))


def _reader(code: str, attempts: list[Attempt], errors: list[float]) -> ReaderFigures:
    return ReaderFigures(code, errors_of(np.array(errors, dtype=float)),
                         sum(a.value is None for a in attempts),
                         float(np.median([a.seconds for a in attempts])))


def _within(cells: dict[tuple[str, str], list[float]]) -> float | None:
    """Pooled standard deviation of repeats (J. M. Bland, D. G. Altman, Stat Methods Med
    Res 1999;8:135-160, section on repeatability)."""
    again = [np.array(v) for v in cells.values() if len(v) > 1]
    degrees = sum(v.size - 1 for v in again)
    if not degrees:
        return None
    return float(np.sqrt(sum(((v - v.mean()) ** 2).sum() for v in again) / degrees))


def _study(cells: dict[tuple[str, str], list[float]],
           readers: list[str]) -> tuple[GaugeStudy | None, int]:
    files = sorted({file for file, _ in cells})
    repeats = min((len(v) for v in cells.values() if len(v) > 1), default=0)
    whole = [f for f in files if all(len(cells.get((f, r), ())) >= repeats for r in readers)]
    if repeats < 2 or len(readers) < 2 or len(whole) < 2:
        return None, len(whole) if repeats >= 2 else 0
    values = np.array([[cells[f, r][:repeats] for r in readers] for f in whole])
    return gauge_study(values), len(whole)


def _pairs(cells: dict[tuple[str, str], list[float]],
           machine: dict[str, Row]) -> list[tuple[float, float]]:
    people: dict[str, list[float]] = {}
    for (file, _), errors in cells.items():
        people.setdefault(file, []).extend(errors)
    return [(abs(row.error_div), float(np.mean(np.abs(people[file]))))
            for file, row in machine.items() if row.error_div is not None and file in people]

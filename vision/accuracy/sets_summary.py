"""From the rows of sets to a summary: one photo beside several, and whether they agree."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

import numpy as np

from vision.accuracy.columns import Columns, bin_name, bin_order
from vision.accuracy.figures import Errors, Figures, Rate, figures
from vision.accuracy.limits import (
    LEVEL_LIMITS_MM,
    SET_LIMITS,
    SET_TIME,
    SETS_REFUSED,
    Check,
    accuracy_checks,
    all_refused,
    at_most,
    no_misread,
    refusal_check,
)
from vision.accuracy.rows import Row
from vision.accuracy.sets import DISAGREE, tier_order
from vision.accuracy.statistics import clopper_pearson_of_groups

#: At most so many rows are listed of each kind.
MOST_LISTED = 100


@dataclass(frozen=True)
class AgreementFigures:
    """How the test of agreement did on combinations of two photos or more.

    ``false_alarms`` are of photos that show one level, ``missed`` (a value was given) and
    ``told`` (refused because the photos disagree) of photos that do not; what is in neither was
    refused for another reason.  ``named`` counts, of those told among three photos or more, how
    often the one that stands apart was named, ``named_wrongly`` how often another was.
    """

    false_alarms: Rate
    missed: Rate
    told: Rate
    named: Rate
    named_wrongly: Rate
    missed_by_distance: Mapping[str, Rate]


@dataclass(frozen=True)
class SetsSummary:
    """Everything found on sets of photos; errors are in ``unit``, "divisions" or "mm".

    ``alone`` is every photo of an honest set by itself, ``together`` every honest set as a
    whole; ``by_tier`` has both for each tier of a set (its worst photo's).  ``by_number`` has
    all combinations of so many photos that show one level, ``by_spread`` all pairs by how far
    their elevations lie apart.  ``whole`` and ``pairs`` say how the test of agreement did on
    whole sets and on pairs.  ``time_ratio`` is (median, largest) of the time of a set over that
    of its photos.
    """

    run: Mapping[str, Any]
    unit: str
    sets: int
    moved: int
    alone: Figures
    together: Figures
    by_tier: Mapping[str, tuple[Figures, Figures]]
    by_number: Mapping[str, Figures]
    by_spread: Mapping[str, Figures]
    whole: AgreementFigures
    pairs: AgreementFigures
    time_ratio: tuple[float, float] | None
    checks: tuple[Check, ...]
    misreads: tuple[Row, ...]
    refused: tuple[Row, ...]
    missed: tuple[Row, ...]
    failures: tuple[Row, ...]

    def errors(self, f: Figures) -> Errors | None:
        """The errors of a group in the unit of the summary."""
        return f.errors_div if self.unit == "divisions" else f.errors

    def as_json(self) -> dict[str, Any]:
        """Plain objects; no NaN."""
        return json.loads(json.dumps(asdict(self), allow_nan=False))  # type: ignore[no-any-return]


def summarise_sets(rows: Iterable[Row], run: Mapping[str, Any]) -> SetsSummary:
    """The summary of the rows of all combinations of all sets."""
    rows = list(rows)
    whole = [r for r in rows if r.keys["whole"]]
    moved_sets = {r.keys["set"] for r in whole if r.keys["moved"]}
    honest = [r for r in rows if not r.keys["moved"]]
    by_number = {str(n): _figures([r for r in honest if r.keys["photos"] == n])
                 for n in sorted({r.keys["photos"] for r in honest})}
    of_honest_sets = [r for r in honest if r.keys["set"] not in moved_sets]
    alone = [r for r in of_honest_sets if r.keys["photos"] == 1]
    together = [r for r in of_honest_sets if r.keys["whole"]]
    pairs = [r for r in rows if r.keys["photos"] == 2]
    by_spread: dict[str, list[Row]] = {name: [] for name in bin_order("spread_deg")}
    for r in pairs:
        if not r.keys["moved"] and r.keys["spread_deg"] is not None:
            by_spread[bin_name("spread_deg", r.keys["spread_deg"])].append(r)
    summary = SetsSummary(
        run=dict(run), unit="mm" if rows and rows[0].kind == "level" else "divisions",
        sets=len(whole), moved=len(moved_sets),
        alone=_figures(alone), together=_figures(together),
        by_tier={str(t): (_figures([r for r in alone if r.keys["set_tier"] == t]),
                          _figures([r for r in together if r.keys["set_tier"] == t]))
                 for t in sorted({r.keys["set_tier"] for r in together} - {None}, key=tier_order)},
        by_number=by_number, by_spread={k: _figures(v) for k, v in by_spread.items() if v},
        whole=_agreement([r for r in whole if r.keys["photos"] > 1]), pairs=_agreement(pairs),
        time_ratio=_time_ratio(rows), checks=(),
        misreads=_listed(r for r in honest if r.misread),
        refused=_listed(r for r in honest if r.keys["photos"] > 1 and r.expect == "read"
                        and r.status != "read"),
        missed=_listed(r for r in rows if r.keys["moved"] and r.status == "read"),
        failures=_listed(r for r in rows if r.status == "error"))
    return replace(summary, checks=tuple(_checks(summary)))


def _figures(rows: Sequence[Row]) -> Figures:
    """Figures of some combinations; photos of one set are no independent trials."""
    columns = Columns()
    for row in rows:
        columns.add(row)
    found = figures(columns, np.ones(columns.n, dtype=bool))
    sets = len({r.keys["set"] for r in rows})
    rates: dict[str, Any] = {f.name: _of_sets(value, sets) for f in fields(found)
                             if isinstance(value := getattr(found, f.name), Rate)}
    return replace(found, **rates)


def _of_sets(rate: Rate, sets: int) -> Rate:
    return replace(rate, ci=clopper_pearson_of_groups(rate.count, rate.n, sets)) if rate.n else rate


def _rate(rows: Sequence[Row], those: Iterable[Row]) -> Rate:
    n, count = len(rows), sum(1 for _ in those)
    return _of_sets(Rate(count, n, count / n if n else None, None),
                    len({r.keys["set"] for r in rows}))


def _agreement(rows: Sequence[Row]) -> AgreementFigures:
    honest = [r for r in rows if not r.keys["moved"] and r.expect == "read"]
    moved = [r for r in rows if r.keys["moved"]]
    told = [r for r in moved if DISAGREE in r.flags]
    to_name = [r for r in told if r.keys["standing_apart"] is not None]
    named = [r for r in to_name if r.keys["named"] is not None]
    by_distance = {}
    for low in range(0, 1 + int(max((r.keys["apart_divisions"] for r in moved), default=0))):
        some = [r for r in moved if low <= r.keys["apart_divisions"] < low + 1]
        if some:
            by_distance[f"{low} to {low + 1}"] = _rate(
                some, (r for r in some if r.status == "read"))
    right = [r for r in named if r.keys["named"] == r.keys["standing_apart"]]
    return AgreementFigures(
        false_alarms=_rate(honest, (r for r in honest if DISAGREE in r.flags)),
        missed=_rate(moved, (r for r in moved if r.status == "read")), told=_rate(moved, told),
        named=_rate(to_name, right),
        named_wrongly=_rate(to_name, (r for r in named if r not in right)),
        missed_by_distance=by_distance)


def _time_ratio(rows: Sequence[Row]) -> tuple[float, float] | None:
    alone: dict[str, float] = {}
    for r in rows:
        if r.keys["photos"] == 1:
            alone[r.keys["set"]] = alone.get(r.keys["set"], 0.0) + r.seconds
    ratios = [r.seconds / alone[r.keys["set"]] for r in rows
              if r.keys["whole"] and r.keys["photos"] > 1 and alone[r.keys["set"]] > 0]
    return (float(np.median(ratios)), max(ratios)) if ratios else None


def _checks(s: SetsSummary) -> list[Check]:
    out: list[Check] = []
    limits = SET_LIMITS if s.unit == "divisions" else dict.fromkeys((2, 3), LEVEL_LIMITS_MM)
    for n, (mean, most) in limits.items():
        f = s.by_number.get(str(n))
        if f is not None:
            out += accuracy_checks(f"{n} photos", f, s.errors(f), s.unit, mean, most, "sets")
            out.append(no_misread(f"{n} photos", f, "sets"))
    if s.together.n:
        out.append(refusal_check("honest sets", s.together, SETS_REFUSED, "sets"))
    if s.whole.missed.n:
        out.append(all_refused("moved sets", s.whole.missed, "sets"))
    if s.time_ratio is not None:
        out.append(at_most("all sets", "time over that of the photos alone, median", SET_TIME,
                           s.time_ratio[0], ".2f"))
    return out


def _listed(rows: Iterable[Row]) -> tuple[Row, ...]:
    return tuple(rows)[:MOST_LISTED]

"""From rows to a summary: overall, by label key, against the requirements."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from vision.accuracy.columns import Columns
from vision.accuracy.figures import Figures, figures
from vision.accuracy.limits import (
    VOLUME_LIMITS,
    Check,
    level_checks,
    no_misread,
    slope_check,
    volume_checks,
)
from vision.accuracy.rows import Row
from vision.accuracy.statistics import Slope, slope

#: At most so many silent misreads are listed with their pictures.
MOST_LISTED = 200


@dataclass(frozen=True)
class KindSummary:
    """Everything found on the images of one kind, "volume" or "level".

    ``groups`` is label key -> value or bin -> figures.  Slopes are of error
    against true elevation, in divisions per degree.  ``cameras`` counts where the
    focal length came from.
    """

    kind: str
    unit: str
    overall: Figures
    groups: Mapping[str, Mapping[str, Figures]]
    checks: tuple[Check, ...]
    slope_corrected: Slope | None
    slope_naive: Slope | None
    misreads: tuple[Row, ...]
    failures: tuple[Row, ...]
    flags: Mapping[str, int]
    cameras: Mapping[str, int]


@dataclass(frozen=True)
class Summary:
    """The summary of a run; ``kinds`` holds one part per kind of image in the set."""

    run: Mapping[str, Any]
    kinds: Mapping[str, KindSummary]

    @property
    def met(self) -> bool:
        """True when every requirement that the set can show is met."""
        return all(c.met is not False for k in self.kinds.values() for c in k.checks)

    def as_json(self) -> dict[str, Any]:
        """Plain objects; no NaN."""
        return json.loads(json.dumps(asdict(self), allow_nan=False))  # type: ignore[no-any-return]


class Gathered:
    """The rows of one kind while they stream by."""

    def __init__(self) -> None:
        self.columns = Columns()
        self.units: dict[str, None] = {}
        self.misreads: list[Row] = []
        self.failures: list[Row] = []
        self.flags: dict[str, int] = {}
        self.cameras: dict[str, int] = {}

    def add(self, row: Row) -> None:
        """Take in one row."""
        self.columns.add(row)
        if row.unit:
            self.units[row.unit] = None
        if row.misread and len(self.misreads) < MOST_LISTED:
            self.misreads.append(row)
        if row.status == "error" and len(self.failures) < MOST_LISTED:
            self.failures.append(row)
        if row.camera_from:
            self.cameras[row.camera_from] = self.cameras.get(row.camera_from, 0) + 1
        for flag in row.flags:
            self.flags[flag] = self.flags.get(flag, 0) + 1


def gather(rows: Iterable[Row]) -> dict[str, Gathered]:
    """Gather rows by kind as they stream by; memory grows by some 150 bytes a row."""
    parts: dict[str, Gathered] = {}
    for row in rows:
        parts.setdefault(row.kind, Gathered()).add(row)
    return parts


def summarise(parts: Mapping[str, Gathered], run: Mapping[str, Any]) -> Summary:
    """The summary of gathered rows."""
    return Summary(dict(run), {kind: _kind(kind, part) for kind, part in parts.items()})


def _kind(kind: str, part: Gathered) -> KindSummary:
    columns = part.columns
    everything = np.ones(columns.n, dtype=bool)
    overall = figures(columns, everything)
    groups = {key: {text: figures(columns, where) for text, where in values.items()}
              for key, values in columns.groups().items()}
    steep, naive = (_slope(columns, name) for name in ("error_div", "naive_error_div"))
    checks = _volume(groups, overall, columns, steep, naive) if kind == "volume" else (
        _level(groups, overall, columns))
    return KindSummary(
        kind=kind, unit=" or ".join(part.units), overall=overall, groups=groups,
        checks=tuple(checks), slope_corrected=steep, slope_naive=naive,
        misreads=tuple(part.misreads), failures=tuple(part.failures),
        flags=dict(sorted(part.flags.items(), key=lambda item: -item[1])),
        cameras=dict(part.cameras))


def _slope(columns: Columns, name: str) -> Slope | None:
    x, y = columns.number("true_elevation_deg"), columns.number(name)
    good = columns.verdicts("read") & np.isfinite(x) & np.isfinite(y)
    return slope(x[good], y[good])


def _volume(groups: Mapping[str, Mapping[str, Figures]], overall: Figures, columns: Columns,
            steep: Slope | None, naive: Slope | None) -> list[Check]:
    tiers = dict(groups.get("tier", {}))
    only = columns.only_value("tier")
    if only is not None:
        tiers = {only: overall}
    checks = volume_checks(tiers)
    if not any(tier in tiers for tier in VOLUME_LIMITS):
        checks.append(no_misread("all", overall))
    if steep is not None and naive is not None and naive.slope:
        checks.append(slope_check(steep, naive))
    return checks


def _level(groups: Mapping[str, Mapping[str, Figures]], overall: Figures,
           columns: Columns) -> list[Check]:
    modes = groups.get("mode", {columns.only_value("mode") or "cards": overall})
    return [check for mode, f in modes.items() for check in level_checks(mode, f)]

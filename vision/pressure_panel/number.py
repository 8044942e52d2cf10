"""Second stage: which mark has which value, and whether that is proven."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from vision.parameters import COUNT_LOG_ODDS, MOST_MISSED_SHARE, MOST_UNMATCHED_MARKS
from vision.pressure_panel.locate import RowsFound
from vision.pressure_panel.numeral_evidence import weigh_numberings
from vision.pressure_panel.planar_scale import FlatLadder

#: What settles a numbering, and what keeps it open.
Accepted = Literal["typed", "numerals", "count"]
Open = Literal["typed-nowhere", "contradicted", "another-scale", "unsettled"]
ACCEPTED: tuple[Accepted, ...] = ("typed", "numerals", "count")


@dataclass(frozen=True)
class FlatNumbering:
    """The ``ladder`` with its values, or the likeliest one while ``verdict`` leaves it open.

    ``typed`` is the value that a person typed for one mark.
    """

    ladder: FlatLadder
    verdict: Accepted | Open
    typed: float | None = None

    @property
    def accepted(self) -> bool:
        """Whether the values may be relied on."""
        return self.verdict in ACCEPTED


def number_rows(rows: RowsFound, typed: tuple[float, tuple[float, float]] | None
                ) -> FlatNumbering:
    """Number the marks: by a value typed for the mark at a point (of the working picture),
    else by the printed numerals, else by the count of marks alone."""
    likeliest = rows.ways[0]
    if typed is not None:
        value, at = typed
        fits = next((w for w in rows.ways if _value_nearest(w, at) == value), None)
        return (FlatNumbering(likeliest, "typed-nowhere", value) if fits is None
                else FlatNumbering(fits, "typed", value))
    seen = weigh_numberings(rows.grey, list(rows.ways))
    chosen = seen.chosen
    behind = max((w.score for w in rows.ways if w is not chosen), default=-math.inf)
    if seen.contradicted:
        return FlatNumbering(likeliest, "contradicted")
    if (chosen.unmatched_marks > MOST_UNMATCHED_MARKS
            or chosen.missed > MOST_MISSED_SHARE * len(chosen.scale.marks)):
        return FlatNumbering(likeliest, "another-scale")
    if seen.proven:
        return FlatNumbering(chosen, "numerals")
    if chosen.complete and chosen.score - behind >= COUNT_LOG_ODDS:
        return FlatNumbering(chosen, "count")
    return FlatNumbering(likeliest, "unsettled")


def _value_nearest(way: FlatLadder, at: tuple[float, float]) -> float:
    height = way.map_at(at[0]).height(at[1])
    return min(way.scale.marks, key=lambda m: abs(m.height_mm - height)).value

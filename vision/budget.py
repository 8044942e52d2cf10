"""Uncertainty budgets: named terms, combined after the GUM.

Source: JCGM 100:2008, *Evaluation of measurement data - Guide to the expression
of uncertainty in measurement*, equation (10) for uncorrelated inputs, 6.2 for
the coverage factor, 7.2.6 for the digits.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

NORMAL_95 = 1.959964


@dataclass(frozen=True)
class BudgetTerm:
    """One contribution, already multiplied by its sensitivity coefficient.

    ``standard_uncertainty`` is in the unit of the result.  ``note`` says where
    the figure comes from, in words a metrologist can check.
    """

    term: str
    standard_uncertainty: float
    unit: str
    note: str = ""

    def as_json(self) -> dict[str, object]:
        """A plain object for ``--json``."""
        return {
            "term": self.term,
            "standard_uncertainty": round(float(self.standard_uncertainty), 6),
            "unit": self.unit,
            "note": self.note,
        }


def combined_standard_uncertainty(terms: Iterable[BudgetTerm]) -> float:
    """Root sum of squares of uncorrelated terms (JCGM 100:2008, equation 10)."""
    return math.sqrt(sum(t.standard_uncertainty**2 for t in terms))

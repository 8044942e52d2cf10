"""Output within a stretch of time whose ends need not be readings: six hours, a shift.

Where an end falls between two readings the flow between them is taken as even, and
what that may be off is part of the uncertainty: the share could be anything, so
u = D sqrt(f (1 - f) / 3) for the share f of an interval's output D (nothing at the
ends; in the middle as large as for a rectangular distribution over 0 to D).  The
formula is ours; its middle value is JCGM 100:2008, 4.3.7.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import numpy as np

from vision.output.account import Account
from vision.output.model import K95, Interval, Question, fixed, later, tenths

_THOUSANDTH = Decimal("0.001")


@dataclass(frozen=True)
class WindowTotal:
    """Output between ``start`` and ``end``.

    ``output_ml`` is exact when both ends are readings, else rounded to 0.001 mL.
    ``covered_hours`` is the time that counted intervals cover; when it is less than
    the window's hours the total is only what is known (``complete`` False).
    ``interpolated`` says that an end falls between two readings.  ``emptied_at`` is when an
    emptying ended it: what stood in the chamber then, and what was left, is part of its doubt, as
    it is not of a total that ends at the reading before.
    """

    start: datetime
    end: datetime
    output_ml: Decimal
    u_ml: float
    samples_ml: Decimal
    covered_hours: float
    interpolated: bool
    questions: tuple[Question, ...]
    emptied_at: datetime | None = None

    @property
    def hours(self) -> float:
        """Length of the window."""
        return (self.end - self.start).total_seconds() / 3600

    @property
    def complete(self) -> bool:
        """True when counted intervals cover the whole window."""
        return self.covered_hours >= self.hours - 1e-6

    @property
    def said_ml(self) -> str:
        """The total to a tenth, for people: "at least" where part of the time is not known, since
        more may have come then."""
        return ("" if self.complete else "at least ") + tenths(self.output_ml)

    @property
    def interval_ml(self) -> tuple[float, float]:
        """95 % interval."""
        return float(self.output_ml) - K95 * self.u_ml, float(self.output_ml) + K95 * self.u_ml


def window_total(account: Account, start: datetime, end: datetime) -> WindowTotal:
    """Output between two moments."""
    start, end = fixed(start), fixed(end)
    total, covered, spread = Fraction(0), 0.0, 0.0
    shares: list[tuple[Interval, float]] = []
    questions: list[Question] = []
    for interval in account.intervals:
        share = _share(interval, start, end)
        if share is None:
            continue
        questions += interval.questions
        if not interval.counted or interval.output_ml is None:
            continue
        total += share * Fraction(interval.output_ml)
        covered += float(share) * interval.hours
        shares.append((interval, float(share)))
        spread += float(interval.output_ml) ** 2 * float(share * (1 - share)) / 3
    last = shares[-1][0] if shares else None
    emptied = last is not None and last.last is None and last.end <= end
    return WindowTotal(
        start, end, _decimal(total), math.hypot(account.uncertainty(shares), math.sqrt(spread)),
        _samples(account, start, end), covered, any(s < 1 for _, s in shares), tuple(questions),
        last.end if emptied and last is not None else None)


def joint_total(totals: Sequence[WindowTotal], *, shared: bool) -> WindowTotal:
    """The sum of the totals of several chambers over one stretch of time.

    Chambers are read independently (JCGM 100:2008, 5.1.2).  ``shared`` says that some carry the
    same scale, whose error they may have in common: then the uncertainties are added as they
    are, the most that any correlation makes of them (5.2.2, note 1).  What is known of one
    chamber only makes the sum no more complete.
    """
    first, us = totals[0], [w.u_ml for w in totals]
    return WindowTotal(
        first.start, first.end, sum((w.output_ml for w in totals), Decimal(0)),
        sum(us) if shared else math.hypot(*us), sum((w.samples_ml for w in totals), Decimal(0)),
        min(w.covered_hours for w in totals), any(w.interpolated for w in totals),
        tuple(q for w in totals for q in w.questions),
        max((w.emptied_at for w in totals if w.emptied_at is not None), default=None))


def ends(account: Account) -> tuple[Interval, ...]:
    """The intervals whose end tells something new, in order: not an emptying right after
    the reading of what was emptied."""
    new = [i for i in account.intervals if i.last is not None or i.measurable]
    return tuple(new) or account.intervals


def rolling(account: Account, hours: float = 6.0) -> tuple[WindowTotal, ...]:
    """The total of the last ``hours`` at every end that tells something new."""
    return tuple(window_total(account, later(end, -timedelta(hours=hours)), end)
                 for end in sorted({i.end for i in ends(account)}))


def cumulative(account: Account) -> tuple[tuple[datetime, Decimal, float], ...]:
    """(moment, mL since the first reading, standard uncertainty) at every reading or
    emptying that ends an interval; uncounted intervals add nothing."""
    points: list[tuple[datetime, Decimal, float]] = []
    total, c = Decimal(0), np.zeros(len(account.covariance))
    with_c = np.zeros(len(c))  # covariance times c, kept up to date term by term
    for interval in account.intervals:
        if interval.counted and interval.output_ml is not None:
            total += interval.output_ml
            for term in interval.terms:
                c[term.source] += term.coefficient
                with_c += term.coefficient * account.covariance[:, term.source]
        points.append((interval.end, total, math.sqrt(max(0.0, float(c @ with_c)))))
    return tuple(points)


def _share(interval: Interval, start: datetime, end: datetime) -> Fraction | None:
    """The part of the interval that lies in the window; None when none does."""
    if interval.end == interval.start:
        return Fraction(1) if start < interval.end <= end else None
    overlap = min(interval.end, end) - max(interval.start, start)
    if overlap <= timedelta(0):
        return None
    return Fraction(overlap // timedelta(microseconds=1),
                    (interval.end - interval.start) // timedelta(microseconds=1))


def _samples(account: Account, start: datetime, end: datetime) -> Decimal:
    return sum((e.volume_ml for e in account.events if e.name == "sample-taken"
                and e.source == "port" and e.volume_ml is not None and start < e.at <= end),
               Decimal(0))


def _decimal(total: Fraction) -> Decimal:
    exact = Decimal(total.numerator) / Decimal(total.denominator)
    return exact if Fraction(exact) == total else exact.quantize(_THOUSANDTH)



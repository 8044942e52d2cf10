"""What the drains of one patient gave together in this shift.  Pure: no page.

Each drain has its own order and its own account; only volumes are added here, and the sum is
compared with no limit, since an order's limits are those of its own drain.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.records.codes import bed_and_drain
from app.records.shift import BedAccount, has_ended
from vision.output import ShiftPlan, WindowTotal, joint_total, window_total
from vision.output.model import hm, tenths


@dataclass(frozen=True)
class Joint:
    """The drains by their labels, each with its own total since the shift began; and the sum."""

    parts: tuple[tuple[str, WindowTotal], ...]
    total: WindowTotal

    @property
    def head(self) -> str:
        """Whose sum it is."""
        labels = [label for label, _ in self.parts]
        many = "Both" if len(labels) == 2 else f"All {len(labels)}"
        return f"{many} drains together ({', '.join(labels[:-1])} and {labels[-1]})"

    def words(self, now: datetime) -> str:
        """The sum with its interval, from when, and what of it is not known."""
        w = self.total
        low, high = w.interval_ml
        said = (f"{w.said_ml} mL ({tenths(low)} to {tenths(high)}) since "
                f"{hm(w.start, now)}")
        if not w.complete:
            known = ", ".join(f"{label} for {p.covered_hours:.1f} h" for label, p in self.parts)
            said += f"; of {w.hours:.1f} h known: {known}"
        return f"{said}. The limits on order are each drain's own."


def joint_shift(beds: Iterable[BedAccount], plan: ShiftPlan, now: datetime) -> Joint | None:
    """The sum of this shift over the drains of one bed; None with fewer than two in place, or
    while nothing of this shift is known of any."""
    beds = sorted((b for b in beds if not has_ended(b)), key=lambda b: b.bed)
    if len(beds) < 2:
        return None
    start, _ = plan.bounds(now, now + timedelta(seconds=1))[0]
    totals = [window_total(b.account, start, now) for b in beds]
    if not any(w.covered_hours for w in totals):
        return None
    scales = [{r.scale for r in b.account.readings} for b in beds]
    shared = len(set().union(*scales)) < sum(map(len, scales))
    labels = [bed_and_drain(b.bed)[1] or "without a label" for b in beds]
    return Joint(tuple(zip(labels, totals, strict=True)), joint_total(totals, shared=shared))

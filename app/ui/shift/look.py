"""What the page reads from the record, in one go and from few rows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.joint import Joint, joint_shift
from app.records import Standing
from app.records.codes import other_drains
from app.records.shift import BedAccount, LevelState, bed_account, level_state
from app.ui import ledger
from vision.output import (
    Finding,
    ShiftPlan,
    WindowTotal,
    rolling,
    shift_totals,
)

#: Plots begin a little before the first thing shown.
_MARGIN = timedelta(minutes=20)


@dataclass(frozen=True)
class Look:
    """One bed at one moment; ``others`` are the codes of this patient's other drains, ``joint``
    is what all of them gave together."""

    bed: BedAccount
    now: datetime
    start: datetime
    all: tuple[Standing, ...]
    level: LevelState
    found: tuple[Finding, ...]
    six_hours: WindowTotal | None
    shift: WindowTotal | None
    others: tuple[str, ...] = ()
    joint: Joint | None = None

    @property
    def withdrawn(self) -> tuple[Standing, ...]:
        """What was taken back: shown, and counted nowhere."""
        return tuple(s for s in self.all if s.withdrawn)

    @property
    def empty(self) -> bool:
        """Nothing of this bed happened in the time shown."""
        return not self.all


def look(code: str, since: datetime | None, now: datetime, plan: ShiftPlan) -> Look:
    """Read one bed.  Raises a RecordError with a sentence where the record cannot be read."""
    with ledger.open_store().at_one_moment() as record:
        bed = bed_account(record, code, since=since)
        every = record.current(code, since=since, withdrawn=True)
        others = other_drains(code, record.beds())
        drains = [bed, *(bed_account(record, o, since=since) for o in others)]
    account = bed.account
    first = min((s.entry.happened.local for s in every), default=now)
    totals = shift_totals(account, plan, now)
    return Look(
        bed=bed, now=now, all=every,
        start=max(since or first, first - _MARGIN) if every else since or now - _MARGIN,
        level=level_state(bed.standings, now, due_minutes=bed.limits.level_due_minutes,
                          order=bed.order),
        found=bed.findings(now, plan),
        six_hours=rolling(account)[-1] if account.intervals else None,
        shift=totals[-1] if totals else None, others=others,
        joint=joint_shift(drains, plan, now))

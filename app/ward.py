"""The ward at one moment: every bed with an open order in one line, the most urgent first.

Pure: no page.  Nothing is computed here that the pages of a bed compute otherwise; the same
functions are called for all beds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal

from app.exports.account_text import rate_words
from app.exports.entry_words import clamp_text
from app.joint import Joint, joint_shift
from app.records import Entry, Moment, Store
from app.records.codes import bed_and_drain
from app.records.shift import (
    BedAccount,
    LevelState,
    bed_account,
    clamped,
    has_ended,
    last_look,
    level_state,
)
from app.rounds import STEPS, Round, RoundBook, due_words, minutes, next_due
from app.setting_state import setting_state
from app.untold import LOOK_BACK, untold
from vision.errors import CountersightError
from vision.output import (
    Finding,
    Interval,
    ShiftPlan,
    WindowTotal,
    collecting_since,
    content_now,
    full_at,
    is_open,
    shift_totals,
)
from vision.output.model import hm, hm_ahead, percent


@dataclass(frozen=True)
class BedLine:
    """One bed.  ``problem`` says why nothing else is known of it; ``over`` are the limits on
    output that the last result passes, ``earlier`` those that results before it passed, both while
    no telling is on record, ``full`` when the chamber is full (expected, earliest), ``setting``
    why the panel's setting is in doubt."""

    bed: str
    now: datetime
    problem: str = ""
    order: Entry | None = None
    due: Moment | None = None
    hour: Interval | None = None
    shift: WindowTotal | None = None
    level: LevelState = field(default=LevelState(None, True, ""))
    setting: str = ""
    content: tuple[datetime, Decimal] | None = None
    capacity_ml: Decimal | None = None
    full: tuple[datetime, datetime] | None = None
    open: bool | None = None
    clamp: Entry | None = None
    look: str = ""
    over: tuple[Finding, ...] = ()
    earlier: tuple[Finding, ...] = ()
    account: BedAccount | None = None
    round: Round | None = None
    step: str = ""
    joint: Joint | None = None

    def _limit(self, name: str) -> Decimal | None:
        return None if self.account is None else getattr(self.account.limits, name)

    @property
    def overdue_minutes(self) -> int | None:
        """Minutes since the next reading was due, negative before that; None without one."""
        if self.due is None:
            return None
        return minutes(self.now - self.due.utc)

    @property
    def is_due(self) -> bool:
        """A reading is due now."""
        late = self.overdue_minutes
        return late is not None and late >= 0

    @property
    def full_limit_ml(self) -> Decimal | None:
        """What the chamber may hold: the order's fill limit, else what its scale holds."""
        return self._limit("chamber_full_ml") or self.capacity_ml

    @property
    def share(self) -> float | None:
        """How full the chamber was when last known, as a share of ``full_limit_ml``."""
        if self.content is None or not self.full_limit_ml:
            return None
        return float(self.content[1] / self.full_limit_ml)

    # ------------------------------------------------------------------ what presses
    @property
    def reasons(self) -> tuple[str, ...]:
        """What needs a person now, in words, the most urgent first."""
        found = []
        if self.problem:
            return ("cannot be read",)
        if self.over:
            found.append("over a limit")
        if self.is_due:
            found.append("reading due")
        if self.due is None:
            found.append("no reading yet")
        if self.share is not None and self.share >= 1:
            found.append("chamber full")
        if self.clamp is not None:
            found.append(clamp_text(self.clamp, self.now).removesuffix(" now."))
        if self.level.stale:
            found.append("level check stale" if self.level.last else "no level check")
        elif self.level.hangs:
            found.append(self.level.hangs)
        if self.setting:
            found.append(self.setting)
        if self.earlier:
            # A calmer hour since does not mean that anybody was told.
            found.append(f"over a limit at {hm(self.earlier[-1].at, self.now)}, "
                         "no telling on record")
        if self.account is not None and self.account.account.questions:
            found.append("a question is open")
        return tuple(found)

    @property
    def urgency(self) -> tuple[int, float, str]:
        """For sorting: what is over a limit, what is overdue (longest first), a full chamber,
        none read yet, anything else that needs a person, then by when the next reading is due."""
        rank = next((k for k, name in enumerate((
            "cannot be read", "over a limit", "reading due", "chamber full", "no reading yet"))
            if name in self.reasons), 5 if self.reasons else 6)
        at = self.due.utc.timestamp() if self.due is not None else float("inf")
        return rank, at, self.bed

    # ------------------------------------------------------------------ in words
    @property
    def due_words(self) -> tuple[str, str]:
        """The next reading: in a few words, and since or until when."""
        if self.due is None:
            return "no reading yet", "none is on record"
        said, when = due_words(self.due, self.now)
        since = None if self.account is None else collecting_since(self.account.account)
        return said, when if since is None or self.open is False else \
            f"{when}; collecting since {hm(since, self.now)}"

    @property
    def hour_words(self) -> tuple[str, str]:
        """The last hour's output, and the limit that the order names for it."""
        limit = self._limit("ml_per_hour")
        ordered = "no limit named" if limit is None else f"limit {limit:f} mL in an hour"
        if self.hour is None:
            return "not known", ordered
        when = f"{hm(self.hour.start, self.now)} to {hm(self.hour.end, self.now)}"
        if self.hour.output_ml is None:
            return "not known", f"{when}; {ordered}"
        said = f"{self.hour.output_ml:f} mL".replace("-", "\N{MINUS SIGN}")
        if not 0.9 <= self.hour.hours <= 1.1:
            said += f", {rate_words(self.hour)}"
        return said, f"{when}; {ordered}"

    @property
    def shift_words(self) -> tuple[str, str]:
        """The total of the shift, and the limit that the order names for it."""
        limit = self._limit("ml_per_shift")
        ordered = "no limit named" if limit is None else f"limit {limit:f} mL in a shift"
        if self.shift is None or self.shift.covered_hours <= 0:
            return "not known", ordered
        part = "" if self.shift.complete else \
            f"known for {self.shift.covered_hours:.1f} of {self.shift.hours:.1f} h; "
        return f"{self.shift.said_ml} mL", \
            f"since {hm(self.shift.start, self.now)}; {part}{ordered}"

    @property
    def level_words(self) -> tuple[str, str]:
        """When the level was checked, how it hung, and whether that still holds."""
        last = self.level.last
        if last is None:
            return "not checked", "no level check is on record"
        at = f"checked {hm(last.happened.local, self.now)}"
        if self.level.hangs:
            return f"{at}: {self.level.hangs}", f"by {last.initials}; check the level again"
        if not self.level.stale:
            return at, f"by {last.initials}; still valid"
        why = self.level.sentence.partition("; ")[2].removesuffix(" Check the level again.")
        return f"{at}: stale", why.removesuffix(".")

    @property
    def chamber_words(self) -> tuple[str, str]:
        """How full the chamber is, when it will be full, and how the fluid looked."""
        said, more = self._chamber
        return said, f"{more}; fluid {self.look}" if self.look else more

    @property
    def _chamber(self) -> tuple[str, str]:
        if self.content is None:
            return "not known", "look at the chamber"
        at, held = self.content
        said = f"{held:f} mL" + ("" if self.full_limit_ml is None or self.share is None else
                                 f", {percent(self.share)} of {self.full_limit_ml:f}")
        if self.share is not None and self.share >= 1:
            return said, f"full since {hm(at, self.now)} or before"
        drain = "; the drain is closed" if self.open is False else ""
        if self.full is None or self.open is False:
            return said, f"known at {hm(at, self.now)}{drain}"
        if self.full[0] <= self.now:
            return said, f"full at about {hm(self.full[0], self.now)}, a time that has passed"
        return said, f"full at about {hm_ahead(self.full[0], self.now)}"

    @property
    def joint_words(self) -> tuple[str, str] | None:
        """What the drains of this patient gave together; None with one drain."""
        return None if self.joint is None else (self.joint.head, self.joint.words(self.now))

    @property
    def round_words(self) -> tuple[str, str]:
        """Who has begun a round, and which step it has come to."""
        if self.round is None:
            return "no round under way", ""
        return f"round of {self.round.by or 'somebody'}, since " \
            f"{hm(self.round.began.local, self.now)}", f"at the step: {self.step}"


def ward_lines(store: Store, book: RoundBook, now: datetime, plan: ShiftPlan, *,
               leave_out: Iterable[str] = ()) -> tuple[BedLine, ...]:
    """Every bed with an open order, with a round under way, or read within ``LOOK_BACK``.

    A bed that cannot be read is a line that says so.  Raises a RecordError where the record
    itself cannot be read.
    """
    lines = []
    for bed in sorted({*store.beds(), *(r.bed for r in book.all())} - set(leave_out)):
        try:
            line = _line(store, book, bed, now, plan)
        except CountersightError as problem:
            line = BedLine(bed, now, str(problem))
        if line is not None:
            lines.append(line)
    for bed in {bed_and_drain(line.bed)[0] for line in lines if bed_and_drain(line.bed)[1]}:
        of_patient = [k for k, line in enumerate(lines) if bed_and_drain(line.bed)[0] == bed]
        joint = joint_shift(filter(None, (lines[k].account for k in of_patient)), plan, now)
        for k in of_patient:
            lines[k] = replace(lines[k], joint=joint)
    return tuple(sorted(lines, key=lambda line: line.urgency))


def _line(store: Store, book: RoundBook, bed: str, now: datetime, plan: ShiftPlan
          ) -> BedLine | None:
    since = now - LOOK_BACK
    with store.at_one_moment() as record:
        last = record.last(bed, "volume-reading")
        account = bed_account(record, bed, since=since if last is None else
                              min(since, last.entry.happened.utc))
    round_ = book.get(bed)
    if account.order is None and round_ is None and (
            has_ended(account) or last is None or last.entry.happened.utc < since):
        return None
    found = account.findings(now, plan)
    totals = shift_totals(account.account, plan, now)
    limit = account.limits.chamber_full_ml
    capacity = None if last is None else last.entry.payload.get("capacity")
    whole = None if capacity is None else Decimal(capacity).normalize()
    full_ml = limit or whole
    seen = last_look(account.standings)
    over, earlier = untold(found, account, now)
    return BedLine(
        bed, now, order=account.order, account=account,
        due=None if last is None else next_due(
            last.entry.happened, account.limits.reading_due_minutes, account.due_from)[0],
        hour=account.account.result, shift=totals[-1] if totals else None,
        level=level_state(account.standings, now, due_minutes=account.limits.level_due_minutes,
                          order=account.order),
        setting=setting_state(account, now).reason,
        content=content_now(account.account), capacity_ml=whole,
        full=None if full_ml is None else full_at(account.account, full_ml),
        open=is_open(account.account.events, now), clamp=clamped(account.standings),
        look="" if seen is None else str(seen.payload["look"]),
        over=over, earlier=earlier, round=round_,
        step="" if round_ is None else STEPS[round_.at])

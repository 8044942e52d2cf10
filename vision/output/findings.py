"""What the ward's own limits say about an account.  No limit is built in.

Whether a value with an uncertainty has crossed a limit is decided as in
JCGM 106:2012 with a guard band of 1.645 u: surely over, too close to call, or
within.  A value over the limit is always named, sure or not.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

from vision.output.account import Account
from vision.output.drain import is_open
from vision.output.limits import Limits
from vision.output.model import K95, K95_ONE_SIDED, Interval, fixed, hm, hm_ahead, later, tenths
from vision.output.shifts import ShiftPlan
from vision.output.windows import WindowTotal, ends, window_total

Verdict = Literal["over", "too-close", "within"]
TELL = "Tell whom your orders name."


@dataclass(frozen=True)
class Finding:
    """One local limit that is crossed or too close to call; ``sentence`` is for people."""

    limit: str
    verdict: Verdict
    sentence: str
    at: datetime


def compare(value: float, u: float, limit: float) -> Verdict:
    """Where a value with standard uncertainty ``u`` stands against an upper limit."""
    if value > limit:
        return "over"
    return "too-close" if value + K95_ONE_SIDED * u > limit else "within"


def findings(account: Account, limits: Limits, now: datetime, *, plan: ShiftPlan | None = None,
             tell_whom: str = "", due_from: datetime | None = None) -> tuple[Finding, ...]:
    """Everything that the limits say at ``now``; empty without limits.

    ``due_from`` is since when the time between readings is ordered, see ``reading_due``.
    """
    now = fixed(now)
    found = [*_hours(account, limits, now, tell_whom),
             *_totals(account, limits, now, plan, tell_whom),
             *_nothing_drained(account, limits, now, tell_whom), *_full(account, limits, now),
             *_overdue(account, limits, now, due_from)]
    return tuple(sorted(found, key=lambda f: f.at))


def _tell(tell_whom: str) -> str:
    return f"{TELL} Your order says: {tell_whom.rstrip('.')}." if tell_whom else TELL


def _over(name: str, what: str, value: float, u: float, limit: Decimal, unit: str,
          at: datetime, tell_whom: str, *, least: bool = False) -> list[Finding]:
    """``least`` says that part of the time is not known, so that more may have come."""
    verdict = compare(value, u, float(limit))
    if verdict == "within":
        return []
    interval = ("at least " if least else "") + \
        f"{tenths(value)} {unit} ({tenths(value - K95 * u)} to {tenths(value + K95 * u)})"
    if verdict == "over":
        sure = "" if value - K95_ONE_SIDED * u >= float(limit) else \
            " The readings leave some doubt; read again."
        text = f"{what}: {interval}, over your limit of {limit} {unit}.{sure} {_tell(tell_whom)}"
    else:
        text = f"{what}: {interval}, too close to your limit of {limit} {unit} to call. Read again."
    return [Finding(name, verdict, text, at)]


def _hours(account: Account, limits: Limits, now: datetime, tell_whom: str
           ) -> list[Finding]:
    """A limit on an hour's volume, judged by what came in an hour: in the 60 minutes up to
    a reading, or on average where the readings lie an hour apart or more."""
    found: list[Finding] = []
    if limits.ml_per_hour is None:
        return found
    for i in ends(account):
        if not i.counted or i.output_ml is None or i.u_ml_per_hour is None:
            continue
        if i.hours >= 1:
            start, value, u = i.start, float(i.output_ml) / i.hours, i.u_ml_per_hour
            over, least = _on_average(i.hours), False
        else:
            w = window_total(account, later(i.end, -timedelta(hours=1)), i.end)
            start, value, u = w.start, float(w.output_ml), w.u_ml
            over, least = _not_known(w), not w.complete
        found += _over("ml_per_hour", f"{hm(start, now)} to {hm(i.end, now)}{over}", value, u,
                       limits.ml_per_hour, "mL in an hour", i.end, tell_whom, least=least)
    return found


def _on_average(hours: float) -> str:
    """Over how long a longer stretch than an hour was averaged: what came in it stands beside
    the same printed times, and is more than what came in an hour."""
    minutes = f"{60 * hours:.1f}"
    if minutes == "60.0":
        return ""
    return f", on average over {minutes} min" if hours < 2 else f", on average over {hours:.1f} h"


def _not_known(w: WindowTotal) -> str:
    """How much of the window no counted interval covers: before the first reading, after the
    last one, or where what came is unknown."""
    if w.complete:
        return ""
    minutes = 60 * (w.hours - w.covered_hours)
    # From 59.5 min on the minutes would be rounded to an hour.
    part = f"{minutes / 60:.1f} h" if minutes >= 59.5 else \
        f"{minutes:.0f} min" if minutes >= 1 else "less than a minute"
    return f", {part} of it not known"


def _totals(account: Account, limits: Limits, now: datetime, plan: ShiftPlan | None,
            tell_whom: str) -> list[Finding]:
    found: list[Finding] = []
    if limits.ml_per_six_hours is not None:
        for end in sorted({i.end for i in ends(account)}):
            w = window_total(account, later(end, -timedelta(hours=6)), end)
            found += _over("ml_per_six_hours", f"Six hours to {hm(end, now)}{_not_known(w)}",
                           float(w.output_ml), w.u_ml, limits.ml_per_six_hours, "mL", end,
                           tell_whom, least=not w.complete)
    if limits.ml_per_shift is not None and plan is not None and account.readings:
        for start, end in plan.bounds(account.readings[0].at, now):
            w = window_total(account, start, min(end, now))
            # Passed when last something new was known, not now: else somebody who was told would
            # never have been told since.
            at = max((i.end for i in ends(account) if i.start < w.end), default=w.end)
            found += _over("ml_per_shift", f"Shift from {hm(start, now)}{_not_known(w)}",
                           float(w.output_ml), w.u_ml, limits.ml_per_shift, "mL",
                           min(at, w.end), tell_whom, least=not w.complete)
    return found


def _nothing_drained(account: Account, limits: Limits, now: datetime, tell_whom: str
                     ) -> list[Finding]:
    """The longest stretch up to the last reading in which nothing measurable came."""
    if limits.nothing_drained_hours is None or is_open(account.events, now) is False:
        return []
    run: list[tuple[Interval, float]] = []
    hours = 0.0
    for i in reversed(account.intervals):
        if not i.counted or i.output_ml is None:
            break
        trial = [*run, (i, 1.0)]
        amount = sum(float(k.output_ml or 0) for k, _ in trial)
        if amount > K95_ONE_SIDED * account.uncertainty(trial):
            break
        run, hours = trial, hours + i.open_hours
    if hours < float(limits.nothing_drained_hours):
        return []
    return [Finding("nothing_drained_hours", "over",
                    f"Nothing measurable came in {hours:.1f} h with the drain open, your limit is "
                    f"{limits.nothing_drained_hours} h. {_tell(tell_whom)}",
                    account.intervals[-1].end)]


def content_now(account: Account) -> tuple[datetime, Decimal] | None:
    """When the chamber's content was last known, and what it was; None when what was left
    after an emptying, or drawn from the chamber, was not read, or the drainage has ended."""
    known: list[tuple[datetime, int, Decimal | None]] = [
        (r.at, r.number, r.value_ml) for r in account.readings]
    known += [(e.at, e.number, e.after_ml) for e in account.events
              if e.name in ("chamber-emptied", "drainage-ended")]
    if not known:
        return None
    at, number, value = max(known, key=lambda k: k[:2])
    for e in account.events:
        if e.name == "sample-taken" and e.source == "chamber" and (e.at, e.number) > (at, number):
            value = None if value is None or e.volume_ml is None else value - e.volume_ml
    return None if value is None else (at, max(value, Decimal(0)))


def collecting_since(account: Account) -> datetime | None:
    """Since when the chamber has been collecting what the next reading will count: its last
    reading or emptying.  None before the first, and once the drainage has ended."""
    marks = [(r.at, r.number, True) for r in account.readings]
    marks += [(e.at, e.number, e.name == "chamber-emptied") for e in account.events
              if e.name in ("chamber-emptied", "drainage-ended")]
    if not marks:
        return None
    at, _, collects = max(marks)
    return at if collects else None


def full_at(account: Account, full_ml: Decimal) -> tuple[datetime, datetime] | None:
    """(expected, earliest by the uncertainty of the rate) moment at which the chamber
    holds ``full_ml`` at the rate of the last counted interval; None when it never will."""
    content = content_now(account)
    last = next((i for i in reversed(account.intervals)
                 if i.counted and i.ml_per_hour is not None), None)
    if content is None or last is None or last.ml_per_hour is None or last.ml_per_hour <= 0:
        return None
    at, value = content
    left = max(0.0, float(full_ml - value))
    fastest = last.ml_per_hour + K95 * (last.u_ml_per_hour or 0.0)
    hours, soonest = left / last.ml_per_hour, left / fastest
    if hours > 24 * 14:
        return None
    return later(at, timedelta(hours=hours)), later(at, timedelta(hours=soonest))


def _full(account: Account, limits: Limits, now: datetime) -> list[Finding]:
    if limits.chamber_full_ml is None:
        return []
    content = content_now(account)
    if content is not None and content[1] >= limits.chamber_full_ml:
        return [Finding("chamber_full_ml", "over",
                        f"The chamber held {content[1]} mL at {hm(content[0], now)}, your fill "
                        f"limit is {limits.chamber_full_ml} mL. Follow your rule for emptying.",
                        content[0])]
    if is_open(account.events, now) is False:
        return []
    when = full_at(account, limits.chamber_full_ml)
    if when is None:
        return []
    expected, earliest = when
    return [Finding("chamber_full_ml", "within" if now < earliest else "too-close",
                    _when_full(limits.chamber_full_ml, expected, earliest, now), expected)]


def _when_full(full_ml: Decimal, expected: datetime, earliest: datetime, now: datetime) -> str:
    """The forecast in words; once its time has come it is no forecast any more."""
    if now < earliest:
        return (f"At the present rate the chamber reaches {full_ml} mL at "
                f"{hm_ahead(expected, now)}, at the earliest {hm_ahead(earliest, now)}.")
    if now < expected:
        return (f"At the present rate the chamber reaches {full_ml} mL at "
                f"{hm_ahead(expected, now)}; it may have done so since "
                f"{hm(earliest, now)}. Read the chamber.")
    return (f"At the last known rate the chamber would have reached {full_ml} mL at "
            f"{hm(expected, now)}, at the earliest {hm(earliest, now)}, and no later reading says "
            "what it holds. Read the chamber.")


def reading_due(last: datetime, minutes: float, due_from: datetime | None = None) -> datetime:
    """When the next reading is due: so many minutes after the last one, but not before that time
    between readings was ordered (``due_from``), since nobody can be late for what is to come."""
    due = later(last, timedelta(minutes=minutes))
    return due if due_from is None else max(due, due_from)


def _overdue(account: Account, limits: Limits, now: datetime, due_from: datetime | None
             ) -> list[Finding]:
    if limits.reading_due_minutes is None or not account.readings:
        return []
    last = account.readings[-1].at
    due = reading_due(last, float(limits.reading_due_minutes), due_from)
    if now <= due:
        return []
    by_order = ", when the order came" if due == due_from else ""
    return [Finding("reading_due_minutes", "over",
                    f"The last reading is of {hm(last, now)}; the next was due at {hm(due, now)}"
                    f"{by_order}.", due)]

"""The account of a bed in words and as JSON: one place for command line, sheet and page."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from app.records import Entry
from app.records.shift import BedAccount, level_state
from app.setting_state import SettingState, setting_state
from vision.output import (
    Account,
    Interval,
    ShiftPlan,
    WindowTotal,
    cumulative,
    rolling,
    shift_totals,
)
from vision.output.model import hm, tenths

CAUTION = ("From confirmed entries only. A calculation, not advice: the written order and the "
           "people who may act on it decide.")


def account_lines(bed: BedAccount, now: datetime, plan: ShiftPlan) -> list[str]:
    """The account as plain lines for a terminal."""
    # Not every terminal can show a true minus sign.
    return [line.replace("\N{MINUS SIGN}", "-") for line in _account_lines(bed, now, plan)]


def _account_lines(bed: BedAccount, now: datetime, plan: ShiftPlan) -> list[str]:
    account = bed.account
    lines = [f"Bed {bed.bed}", CAUTION, ""]
    if not account.intervals:
        return [*lines, "There are not yet two confirmed readings to compute an output from.",
                *_check_lines(bed, now)]
    lines += [result_line(account, now), ""]
    lines.append("Interval                       mL (95 %)               mL/h   cumulative mL")
    for interval, (_, total, _) in zip(account.intervals, cumulative(account), strict=True):
        lines.append(f"{span(interval.start, interval.end):<30} {amount(interval):<22} "
                     f"{rate(interval):>6} {total:>10}")
    lines += ["", f"Counted in all: {account.total_ml} mL."]
    six = rolling(account)[-1]
    lines.append(f"Six hours to {hm(six.end, now)}: {window(six)}.")
    lines += [f"Shift {span(w.start, w.end)}: {window(w)}."
              for w in shift_totals(account, plan, now) if w.covered_hours > 0][-3:]
    found = bed.findings(now, plan)
    lines += _check_lines(bed, now)
    if account.questions:
        lines += ["", "To be answered (not counted until then, unless said):",
                  *(f"- {q.sentence}" for q in account.questions)]
    if found:
        lines += ["", "Your own limits:", *(f"- {f.sentence}" for f in found)]
    return lines


def _check_lines(bed: BedAccount, now: datetime) -> list[str]:
    """How the last checks stand: with an output or without one, a drain may hang off level."""
    setting = setting_state(bed, now)
    return [level_state(bed.standings, now, due_minutes=bed.limits.level_due_minutes,
                        order=bed.order).sentence,
            *([setting_line(setting)] if setting.ordered else [])]


def setting_line(setting: SettingState) -> str:
    """The setting in one line, with both numbers where it is not as ordered."""
    said = setting.sentence if setting.sentence.startswith("Setting: ") else \
        f"Setting: {setting.sentence[0].lower()}{setting.sentence[1:]}"
    return f"{said} {setting.compared}".strip()


def span(start: datetime, end: datetime) -> str:
    """From when to when, the date of the end only where it is another one."""
    changed = " (the clocks changed)" if start.utcoffset() != end.utcoffset() else ""
    return f"{start:%Y-%m-%d %H:%M} to " + (
        f"{end:%H:%M}" if start.date() == end.date() else f"{end:%Y-%m-%d %H:%M}") + changed


def amount(i: Interval) -> str:
    """mL of an interval with its 95 % interval, or that it is unknown."""
    if i.output_ml is None:
        return f"unknown, at least {i.at_least_ml}" if i.at_least_ml else "unknown"
    low, high = i.interval_ml or (0.0, 0.0)
    value = str(i.output_ml).replace("-", "\N{MINUS SIGN}")
    return f"{value} ({tenths(low)} to {tenths(high)})" + ("" if i.counted else " ?")


def doubts(i: Interval) -> list[str]:
    """What speaks against the readings at both ends."""
    return [f"{end:%H:%M}: {words}" for end, r in ((i.start, i.first), (i.end, i.last))
            if r is not None for words in r.doubts]


def rate(i: Interval) -> str:
    """mL/h, or a dash."""
    return "-" if i.ml_per_hour is None or not i.counted else f"{i.ml_per_hour:.1f}"


def rate_words(i: Interval) -> str:
    """The rate, or why there is none."""
    if i.output_ml is None or not i.counted:
        return "no rate: not counted"
    return f"no rate under {60 * i.rate_from_hours:g} min" if i.ml_per_hour is None \
        else f"{i.ml_per_hour:.1f} mL/h"


def emptied_since(account: Account, now: datetime) -> str:
    """What an emptying after the last reading adds, in words; "" where there was none."""
    after = account.intervals[-1]
    if after.last is not None:
        return ""
    emptied = after.events[-1]
    more = f"{after.output_ml} mL more came until then" if after.measurable and \
        after.output_ml is not None else ""
    left = "what was left is not on record" if emptied.after_ml is None else \
        f"{emptied.after_ml} mL left"
    return f"emptied at {hm(emptied.at, now)}: " + ", ".join(filter(None, (
        f"{emptied.before_ml} mL stood in it", left, more)))


def result_line(account: Account, now: datetime) -> str:
    """The hour's result in one line; the account has intervals."""
    i = account.result
    said = [] if i is None else [f"Up to the last reading, {span(i.start, i.end)}: {amount(i)} mL, "
                                 f"{rate_words(i)}"]
    return "; then ".join([*said, *filter(None, [emptied_since(account, now)])]) + "."


def window(w: WindowTotal) -> str:
    """The total of a stretch of time, with what it does not cover."""
    low, high = w.interval_ml
    text = f"{w.said_ml} mL ({tenths(low)} to {tenths(high)})"
    if not w.complete:
        text += f", known for {w.covered_hours:.1f} of {w.hours:.1f} h"
    if w.interpolated:
        text += ", even flow assumed between readings"
    if w.emptied_at is not None:
        text += f", with the emptying at {w.emptied_at:%H:%M}"
    return text


def account_json(bed: BedAccount, now: datetime, plan: ShiftPlan) -> dict[str, Any]:
    """The account as one object; decimals as numbers, times with their offset."""
    account = bed.account
    points = cumulative(account)
    return {
        "kind": "output", "bed": bed.bed, "unit": "mL", "coverage": 0.95,
        "total": float(account.total_ml),
        "result": None if account.result is None else _interval(account.result),
        "intervals": [_interval(i) | {"cumulative": float(total),
                                      "cumulative_standard_uncertainty": round(u, 3)}
                      for i, (_, total, u) in zip(account.intervals, points, strict=True)],
        "rolling_six_hours": [_window(w) for w in rolling(account)],
        "shifts": [_window(w) for w in shift_totals(account, plan, now)],
        "questions": [{"kind": q.kind, "sentence": q.sentence, "entries": list(q.numbers)}
                      for q in account.questions],
        "findings": [{"limit": f.limit, "verdict": f.verdict, "sentence": f.sentence}
                     for f in bed.findings(now, plan)],
        "level": level_state(bed.standings, now,
                             due_minutes=bed.limits.level_due_minutes,
                             order=bed.order).sentence,
        "setting": _setting(bed, now),
    }


def _setting(bed: BedAccount, now: datetime) -> dict[str, Any]:
    """What the order says and what the panel was last found at, each in its own unit, and how
    the two stand; None for what is not on record."""
    state = setting_state(bed, now)
    ordered, found = bed.order if state.ordered else None, state.last
    return {
        "ordered": None if ordered is None else _pressure(ordered),
        "found": None if found is None else _pressure(found) | {
            "at": found.happened.local.isoformat()},
        "as_ordered": None if state.doubt in ("none", "order") or ordered is None
        else state.doubt != "off",
        "sentence": setting_line(state),
    }


def _pressure(entry: Entry) -> dict[str, Any]:
    value = entry.confirmed_value
    return {"value": None if value is None else float(value), "unit": entry.unit}


def _interval(i: Interval) -> dict[str, Any]:
    return {
        "start": i.start.isoformat(), "end": i.end.isoformat(), "hours": round(i.hours, 4),
        "open_hours": round(i.open_hours, 4),
        "output": None if i.output_ml is None else float(i.output_ml),
        "interval": None if i.interval_ml is None else [round(x, 2) for x in i.interval_ml],
        "at_least": None if i.at_least_ml is None else float(i.at_least_ml),
        "ml_per_hour": None if i.ml_per_hour is None or not i.counted
        else round(i.ml_per_hour, 3),
        "counted": i.counted, "samples_at_port": float(i.samples_ml),
        "events": [e.act for e in i.events],
    }


def _window(w: WindowTotal) -> dict[str, Any]:
    return {"start": w.start.isoformat(), "end": w.end.isoformat(), "output": float(w.output_ml),
            "interval": [round(x, 2) for x in w.interval_ml], "complete": w.complete,
            "covered_hours": round(w.covered_hours, 4), "interpolated": w.interpolated}

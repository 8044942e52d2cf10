"""Step 6: what came since the last reading, the totals, and the order's own limits."""

from __future__ import annotations

from datetime import datetime, timedelta

from app.ui import blocks
from app.ui.round.act import go_on_button, say_what_is_missing
from app.ui.round.state import RoundState
from app.ui.round.view import View
from vision.output import Interval, Limits, WindowTotal, findings, window_total
from vision.output.model import hm


def output_step(state: RoundState, view: View) -> None:
    """Draw the step."""
    output_block(view)
    say_what_is_missing(state)
    go_on_button(state, view, "Seen: go on", lambda r: r.with_seen("output"), name="seen")


def output_block(view: View) -> None:
    """Output of the last interval, totals, findings and questions."""
    account, now = view.account.account, view.now.local
    if not account.intervals:
        blocks.notice("No output yet", ["It takes two readings; there is one or none on record."])
    else:
        last = account.intervals[-1]
        parts = [_interval_card(last, now)]
        for hours in (6, 24):
            parts.append(_total_card(f"Last {hours} h",
                                     window_total(account, last.end - timedelta(hours=hours),
                                                  last.end)))
        blocks.cards(*parts)
    found = findings(account, view.account.limits, now, tell_whom=view.account.tell_whom)
    # What was over an hour ago was told an hour ago; the page Shift keeps it.
    since = account.intervals[-1].end if account.intervals else now
    recent = [f for f in found if f.at >= since]
    crossed = [f.sentence for f in recent if f.verdict != "within"]
    if crossed:
        blocks.notice("Limits of your order", crossed, stop=True)
    elif account.intervals:
        blocks.status_line(_no_limit_crossed(view))
    ahead = [f.sentence for f in recent if f.verdict == "within"]
    if ahead:
        blocks.notice("What lies ahead", ahead)
    asked = [q.sentence for q in (account.intervals[-1].questions if account.intervals else ())]
    if asked:
        blocks.notice("This does not add up", asked, stop=True)


def _no_limit_crossed(view: View) -> str:
    if view.order is None:
        return "No order is on record, so no limit was checked."
    if view.account.limits == Limits():
        return "The order names no limit, so none was checked."
    return "No limit of the order is crossed."


def _interval_card(i: Interval, now: datetime) -> str:
    head = f"{hm(i.start, now)} to {hm(i.end, now)}"
    if i.output_ml is None:
        notes = [f"at least {i.at_least_ml:f} mL" if i.at_least_ml is not None else ""]
        return blocks.card(head, "unknown", "", notes)
    notes = []
    if i.interval_ml is not None:
        notes.append(f"95 % interval: {i.interval_ml[0]:.1f} to {i.interval_ml[1]:.1f} mL"
                     .replace("-", "\N{MINUS SIGN}"))
    if i.ml_per_hour is not None:
        notes.append(f"{i.ml_per_hour:.1f} mL/h".replace("-", "\N{MINUS SIGN}"))
    if not i.counted:
        notes.append("NOT counted in the totals, see below")
    if i.samples_ml:
        notes.append(f"and {i.samples_ml:f} mL in samples at the patient's port")
    return blocks.card(head, f"{i.output_ml:f}".replace("-", "\N{MINUS SIGN}"), "mL", notes)


def _total_card(head: str, w: WindowTotal) -> str:
    low, high = w.interval_ml
    notes = [f"95 % interval: {low:.1f} to {high:.1f} mL".replace("-", "\N{MINUS SIGN}")]
    if not w.complete:
        notes.append(f"known for {w.covered_hours:.1f} of {w.hours:.0f} h only")
    return blocks.card(head, f"{float(w.output_ml):.1f}", "mL", notes)

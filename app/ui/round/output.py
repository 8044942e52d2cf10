"""What came since the last reading, the totals, and the order's own limits."""

from __future__ import annotations

from datetime import timedelta

from app.shift_times import shift_plan
from app.ui import blocks, guard, ledger
from app.ui.output_card import result_card
from app.ui.round.view import View
from app.untold import untold
from vision.output import Limits, WindowTotal, ends, shift_totals, window_total
from vision.output.model import hm, later, tenths


def output_block(view: View) -> None:
    """Output of the last interval, totals, findings and questions."""
    account, now = view.account.account, view.now.local
    plan, problem = guard.in_words(lambda: shift_plan(ledger.place()))
    if problem:
        blocks.notice("The total of the shift is not known", [problem], stop=True)
    if not account.intervals:
        blocks.notice("No output yet", ["It takes two readings; there is one or none on record."])
    else:
        end = ends(account)[-1].end
        totals = shift_totals(account, plan, now)[-1:] if plan is not None else ()
        blocks.cards(result_card(account, now), *(
            _total_card(f"This shift, since {hm(w.start, now)}", w) for w in totals), *(
            _total_card(f"Last {hours} h",
                        window_total(account, later(end, -timedelta(hours=hours)), end))
            for hours in (6, 24)))
    found = view.account.findings(now, plan)
    # What was over before the last result stands apart, and only while nobody was told.
    shown = account.result or (account.intervals[-1] if account.intervals else None)
    since = shown.end if shown is not None else now
    recent = [f for f in found if f.at >= since]
    asked = [q.sentence for i in account.intervals if i.end >= since for q in i.questions]
    crossed = [f.sentence for f in recent if f.verdict != "within"]
    if crossed:
        blocks.notice("Limits of your order", crossed, stop=True)
    elif account.intervals:
        before = any(f.verdict == "over" and f.at < since for f in found)
        blocks.status_line(_no_limit_crossed(view, bool(asked), before))
    _, earlier = untold(found, view.account, now)
    if earlier:
        blocks.notice("Over a limit earlier, no telling on record",
                      [f.sentence for f in earlier], stop=True)
    ahead = [f.sentence for f in recent if f.verdict == "within"]
    if ahead:
        blocks.notice("What lies ahead", ahead)
    if asked:
        blocks.notice("This does not add up", asked, stop=True)


def _no_limit_crossed(view: View, asked: bool, before: bool) -> str:
    if view.order is None:
        return "No order is on record, so no limit was checked."
    if view.account.limits == Limits():
        return "The order names no limit, so none was checked."
    if asked:
        return (f"No limit of the order is crossed by what is counted{' last' if before else ''}; "
                "what does not add up below is not.")
    by = "the last result" if before else "what is on record"
    return f"No limit of the order is crossed by {by}."


def _total_card(head: str, w: WindowTotal) -> str:
    low, high = w.interval_ml
    notes = [f"95 % interval{'' if w.complete else ' of what is known'}: {tenths(low)} to "
             f"{tenths(high)} mL"]
    if not w.complete:
        notes.append(f"known for {w.covered_hours:.1f} of {w.hours:.1f} h only")
    if w.emptied_at is not None:
        notes.append(f"with the emptying at {w.emptied_at:%H:%M}")
    return blocks.card(head, w.said_ml, "mL", notes)

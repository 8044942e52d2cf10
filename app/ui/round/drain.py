"""Step 3: is the drain open or closed, as a person sees it."""

from __future__ import annotations

from functools import partial

from app.records import EventDraft
from app.ui import blocks
from app.ui.round.act import confirm_button, initials_field, say_what_is_missing
from app.ui.round.state import RoundState
from app.ui.round.view import View
from vision.output import is_open
from vision.output.model import hm


def drain_step(state: RoundState, view: View) -> None:
    """Draw the step."""
    how = view.order.payload.get("drain") if view.order is not None else None
    points = [f"The order says: {how}." if how else "", _on_record(view),
              "The outlet from the chamber to the bag stays closed while it collects."]
    blocks.notice("Look at the stopcocks and follow the line with your finger", points)
    initials_field(state)
    say_what_is_missing(state)
    for name, words in (("opened", "open"), ("closed", "closed")):
        confirm_button(state, view, f"The drain to the chamber is {words}",
                       partial(_draft, f"drain-{name}"),
                       f"Drain {words} is on record.", name=name, first=False)


def _draft(event: str) -> tuple[EventDraft, None]:
    return EventDraft(event, detail="seen at the round"), None


def _on_record(view: View) -> str:
    events = view.account.account.events
    now_open = is_open(events, view.now.local)
    if now_open is None:
        return "Nothing is on record about it yet."
    last = [e for e in events if e.name in ("drain-opened", "drain-closed")][-1]
    return (f"On record: {'open' if now_open else 'closed'}, last confirmed at "
            f"{hm(last.at, view.now.local)}.")

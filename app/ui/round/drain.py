"""Step 3: is the drain open or closed, as a person sees it."""

from __future__ import annotations

from functools import partial

import streamlit as st

from app.records import EventDraft
from app.records.errors import ConfirmError
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
    if state.missing or st.session_state.get(_why(state)):  # asked for by the last press
        st.text_input("Why it is not as the order says or as it was left (goes on record)",
                      key=_why(state), max_chars=160, autocomplete="off")
    initials_field(state)
    say_what_is_missing(state)
    for name, words in (("opened", "open"), ("closed", "closed")):
        confirm_button(state, view, f"The drain to the chamber is {words}",
                       partial(_draft, state, view, f"drain-{name}"),
                       f"Drain seen {words} is on record.", name=name, first=False)


def disagreement(event: str, ordered: str, was_open: bool | None) -> str:
    """What the state seen does not agree with, in a sentence; "" when with nothing.

    ``ordered`` is how to drain, as the order on record says, ``was_open`` what is on record.
    An order that drains by volume leaves both states open.
    """
    seen = "open" if event == "drain-opened" else "closed"
    if (seen == "closed" and ordered.startswith("continuously")) or (
            seen == "open" and ordered.startswith("closed")):
        return f"The order says '{ordered}', and you see the drain {seen}."
    if was_open is not None and was_open != (seen == "open"):
        return (f"On record the drain is {'open' if was_open else 'closed'}, and you see it "
                f"{seen}: nobody has entered the change.")
    return ""


def _draft(state: RoundState, view: View, event: str) -> tuple[EventDraft, None]:
    why = " ".join((st.session_state.get(_why(state)) or "").split())
    ordered = str(view.order.payload.get("drain") or "") if view.order is not None else ""
    asked = disagreement(event, ordered, is_open(view.account.account.events, view.now.local))
    if asked and not why:
        raise ConfirmError(f"{asked} Look again. If it is so, say why, tell whom your orders name, "
                           "and press once more.")
    return EventDraft(event, detail="; ".join(filter(None, ("seen at the round", why))),
                      seen=True), None


def _why(state: RoundState) -> str:
    return f"round-drain-why-{state.turn}"


def _on_record(view: View) -> str:
    events = view.account.account.events
    now_open = is_open(events, view.now.local)
    if now_open is None:
        return "Nothing is on record about it yet."
    last = [e for e in events if e.name in ("drain-opened", "drain-closed")][-1]
    return (f"On record: {'open' if now_open else 'closed'}, last confirmed at "
            f"{hm(last.at, view.now.local)}.")

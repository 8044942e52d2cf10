"""Is the drain open or closed, as a person sees it."""

from __future__ import annotations

import streamlit as st

from app.entering import Proposed
from app.records import EventDraft
from app.records.errors import ConfirmError
from app.ui import blocks
from app.ui.round.rows import choose, chosen, left_out, why_field
from app.ui.round.state import RoundState
from app.ui.round.view import View
from vision.output import is_open

_SEEN = {"Open": "drain-opened", "Closed": "drain-closed"}
_NOT_LOOKED = "Not looked"


def drain_row(state: RoundState, view: View) -> None:
    """Draw the row."""
    seen = choose(state, "drain", "The drain to the chamber, followed with your finger",
                  (*_SEEN, _NOT_LOOKED))
    if seen == _NOT_LOOKED:
        why_field(state, "drain")
        return
    asked = "" if seen is None else _asked(view, _SEEN[seen])
    if asked:
        blocks.notice("Look again", [asked, "If it is so, say why, and tell whom your orders "
                                            "name."], stop=True)
        st.text_input("Why it is not as the order says or as it was left (goes on record)",
                      key=_why(state), max_chars=160, autocomplete="off")


def drain_proposed(state: RoundState, view: View) -> list[Proposed]:
    """What of the drain goes on record.  Raises ConfirmError without an answer."""
    seen = chosen(state, "drain")
    if seen is None:
        raise ConfirmError("Say whether the drain to the chamber is open or closed.")
    if seen == _NOT_LOOKED:
        return [left_out(state, "drain")]
    why = " ".join((st.session_state.get(_why(state)) or "").split())
    asked = _asked(view, _SEEN[seen])
    if asked and not why:
        raise ConfirmError(f"{asked} Look again. If it is so, say why.")
    detail = "; ".join(filter(None, ("at the round", why)))
    return [Proposed(EventDraft(_SEEN[seen], detail=detail, seen=True),
                     {"key": f"{state.form}-drain"})]


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


def _asked(view: View, event: str) -> str:
    ordered = str(view.order.payload.get("drain") or "") if view.order is not None else ""
    return disagreement(event, ordered, is_open(view.account.account.events, view.now.local))


def _why(state: RoundState) -> str:
    return f"drain-why-{state.key}"

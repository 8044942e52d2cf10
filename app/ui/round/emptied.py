"""Whether the chamber was emptied after the reading, and to what."""

from __future__ import annotations

import streamlit as st

from app.entering import Proposed
from app.records import EventDraft, Moment
from app.records.errors import ConfirmError
from app.ui import blocks
from app.ui.number import decimal_field, parse_decimal
from app.ui.round.fill import fill_state
from app.ui.round.rows import choose, chosen, left_out, why_field
from app.ui.round.state import RoundState
from app.ui.round.view import View

NOT, TO_ZERO, TO_OTHER = "Not emptied", "Emptied to 0", "Other"


def emptied_row(state: RoundState, view: View, value: float | None) -> None:
    """Draw the row; ``value`` (mL) is what is about to be confirmed."""
    fill = fill_state(view, value)
    if fill.near:
        blocks.notice("Empty the chamber, as your rule says", [fill.sentence], stop=True)
    said = choose(state, "emptied", "The chamber after this reading", (NOT, TO_ZERO, TO_OTHER))
    if said == TO_OTHER:
        decimal_field("In the chamber after emptying, mL", f"after-{state.key}", unit="mL",
                      lowest=0)
    elif said == NOT and fill.near:
        why_field(state, "empty")


def emptied_proposed(state: RoundState, view: View, value: str) -> list[Proposed]:
    """What of the emptying goes on record.  Raises ConfirmError without an answer."""
    said = chosen(state, "emptied")
    if said is None:
        raise ConfirmError("Say whether the chamber was emptied.")
    if said == NOT:
        near = fill_state(view, parse_decimal(value).value).near
        return [left_out(state, "empty")] if near else []
    after = "0"
    if said == TO_OTHER:
        typed = parse_decimal(st.session_state.get(f"after-{state.key}") or "", "mL")
        if typed.value is None:
            raise ConfirmError(typed.problem or "Type what stood in the chamber after emptying.")
        after = typed.text
    return [Proposed(EventDraft("chamber-emptied", before_ml=value, after_ml=after),
                     {"key": f"{state.form}-emptied", "happened_at": Moment.now()})]

"""Step 7: emptying the chamber, where the ward's fill limit is near."""

from __future__ import annotations

import streamlit as st

from app.checklists import ward_checklists
from app.records import EventDraft
from app.records.errors import ConfirmError
from app.ui import blocks, doubtful, guard, ledger
from app.ui.checklist_view import checklist_block
from app.ui.number import decimal_field, parse_decimal
from app.ui.round.act import confirm_button, go_on_button, initials_field, say_what_is_missing
from app.ui.round.fill import fill_state
from app.ui.round.state import RoundState
from app.ui.round.view import View


def empty_step(state: RoundState, view: View) -> None:
    """Draw the step."""
    fill = fill_state(view)
    if fill.near:
        blocks.notice("Empty the chamber, as your rule says", [fill.sentence], stop=True)
    else:
        blocks.status_line(fill.sentence)
        say_what_is_missing(state)
        go_on_button(state, view, "Not emptied now: go on", lambda r: r.with_seen("empty"),
                     name="not-now")
    if fill.near:
        _emptied(state, view)
    else:
        with st.expander("The chamber was emptied", key=f"round-box-empty-{state.turn}"):
            _emptied(state, view)


def _emptied(state: RoundState, view: View) -> None:
    key = f"round-empty-{state.turn}"
    last = view.last_reading
    read = f"the reading was {last.confirmed_value}" if last is not None else None
    decimal_field("In the chamber before, mL", f"{key}-before", unit="mL", lowest=0,
                  placeholder=read)
    decimal_field("In the chamber after, mL", f"{key}-after", unit="mL", lowest=0,
                  placeholder="read it: 0 only if it is at the 0 mark")
    doubtful.answer_field(f"round-{view.step}-{state.turn}")
    initials_field(state)
    say_what_is_missing(state)

    def draft() -> tuple[EventDraft, None]:
        before, after = (parse_decimal(st.session_state.get(f"{key}-{side}") or "", "mL")
                         for side in ("before", "after"))
        if before.problem or after.problem:
            raise ConfirmError(before.problem or after.problem)
        if before.value is None or after.value is None:
            raise ConfirmError("Type what stood in the chamber before and after; without both "
                               "the next output cannot be computed.")
        return EventDraft("chamber-emptied", before_ml=before.text, after_ml=after.text), None

    confirm_button(state, view, "Confirm: the chamber was emptied", draft,
                   "The emptying is on record.", first=fill_state(view).near)
    lists, _ = guard.in_words(lambda: ward_checklists(ledger.data_folder()))
    if lists and "emptying" in lists:
        with st.expander("Reminder: emptying the chamber"):
            checklist_block(lists["emptying"], f"round-list-{state.turn}")

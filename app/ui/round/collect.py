"""Step 4: collecting, with a timer that the round's file keeps."""

from __future__ import annotations

import streamlit as st

from app.records import Moment
from app.rounds import LONGEST_MINUTES, USUAL_MINUTES, Round, RoundError, timer
from app.ui import blocks, ledger
from app.ui.number import decimal_field, parse_decimal, within
from app.ui.round.act import go_on_button, say_what_is_missing
from app.ui.round.state import RoundState
from app.ui.round.view import View, newest
from vision.output import content_now
from vision.output.model import hm


def collect_step(state: RoundState, view: View) -> None:
    """Draw the step: begin, or the clock."""
    round_ = view.round
    assert round_ is not None
    if round_.collect_since is None:
        _not_begun(state, view)
        return
    _clock(round_)
    blocks.say("You may close this page, put the phone away or go to another bed: the time runs "
               "on. It is not an alarm: nothing rings.")
    say_what_is_missing(state)
    go_on_button(state, view, "Collecting is over: read now",
                 lambda r: r.collected(Moment.now(), newest(ledger.open_store())), name="over")


def _not_begun(state: RoundState, view: View) -> None:
    known = content_now(view.account.account)
    if known is None:
        blocks.notice("No reading is on record to count from", [
            "The output of this round will be known from the next one on."])
    due = view.account.limits.reading_due_minutes
    usual = f"{due:f} min, as ordered" if due is not None else \
        f"{USUAL_MINUTES} min (common practice; the order names none)"
    key = f"round-minutes-{state.turn}"
    decimal_field("For how many minutes", key, unit="min", lowest=1, highest=LONGEST_MINUTES,
                  placeholder=f"empty: {usual}")

    def minutes() -> int:
        text = st.session_state.get(key) or ""
        typed = within(parse_decimal(text, "min"), 1, LONGEST_MINUTES, "min")
        if typed.problem:
            raise RoundError(typed.problem)
        whole = typed.value if typed.value is not None else float(due or USUAL_MINUTES)
        return max(1, min(LONGEST_MINUTES, round(whole)))

    say_what_is_missing(state)
    go_on_button(state, view, "Start collecting now",
                 lambda r: r.collecting(Moment.now(), minutes()), name="start")
    if known is not None:
        at = Moment.of(known[0])
        go_on_button(state, view,
                     f"It has been collecting since {hm(known[0], view.now.local)} "
                     f"({known[1]:f} mL then)",
                     lambda r: r.collecting(at, minutes()), name="since", first=False)


@st.fragment(run_every=1.0)
def _clock(round_: Round) -> None:
    """The clock in words, drawn anew each second; it is computed from the time it began."""
    now = timer(round_, Moment.now())
    if now is not None:
        blocks.status_line(now.sentence, role="timer")

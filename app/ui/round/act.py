"""The acts of a round: confirm something, skip something, go on.

Every act runs in its button's callback, so it is done before anything is drawn
again, and looks the bed up once more: a second tap, or a colleague who was
quicker, meets a step that is behind and does nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import streamlit as st

from app.records import BedCode, ClockDoubtError, Entry, Initials, Moment, SkipDraft
from app.records.drafts import Draft
from app.records.errors import ConfirmError
from app.rounds import REST, STEPS, Round, StepName
from app.ui import blocks, doubtful, guard, ledger, signed_in
from app.ui.bed import bed_doubt
from app.ui.round.state import RoundState
from app.ui.round.view import View, book, look_up, newest
from app.ui.text import as_label

#: The places of a page where something can be confirmed: the step itself, the box to
#: skip it, the box for a reading by eye.  Each says beside its own button what is missing.
STEP, SKIP, EYE = "step", "skip", "eye"


def initials_field(state: RoundState, place: str = STEP) -> None:
    """Who is at work; kept for the next step of this visit, asked anew after a reload."""
    key = _by(state, place)
    st.session_state.setdefault(key, state.initials)
    st.text_input("Your initials", key=key, max_chars=8, autocomplete="off")


def say_what_is_missing(state: RoundState, place: str = STEP) -> None:
    """Why the last press at this place did nothing."""
    if state.missing_at != place:
        return
    if state.missing:
        blocks.notice("Not recorded yet", state.missing, stop=True)
    if state.clock_doubt:
        st.checkbox("I have checked date and time of this machine: they are right",
                    key=f"round-clock-{state.turn}", wrap=True)


def confirm_button(state: RoundState, view: View, label: str,
                   draft: Callable[[], tuple[Draft, str | None]], said: str, *,
                   name: str = "confirm", first: bool = True, place: str = STEP) -> None:
    """A button that puts the draft on record.

    ``draft`` is asked when the button is pressed; it gives the draft and the digits
    of the value, and raises an error of ours with a sentence where something is
    missing.  ``said`` is the sentence shown afterwards.
    """
    step, turn = view.step, state.turn

    def pressed() -> None:
        if state.turn != turn:
            return
        take_initials(state, place)
        entry, problem = guard.in_words(lambda: _record(state, view, step, draft))
        if problem:
            state.missing, state.missing_at = (problem,), place
        else:
            number = f" Entry {entry.number}." if entry is not None else ""
            state.go_on(f"{said}{number}" if entry is not None else "")

    st.button(as_label(label), key=f"round-{name}-{step}-{turn}", on_click=pressed, width="stretch",
              type="primary" if first else "secondary")


def go_on_button(state: RoundState, view: View, label: str, change: Callable[[Round], Round], *,
                 name: str, first: bool = True) -> None:
    """A button that goes on without an entry."""
    turn, step = state.turn, view.step

    def pressed() -> None:
        if state.turn == turn:
            keep(state, view, change)

    st.button(as_label(label), key=f"round-{name}-{step}-{turn}", on_click=pressed, width="stretch",
              type="primary" if first else "secondary")


def keep(state: RoundState, view: View, change: Callable[[Round], Round]) -> None:
    """Keep a changed round, or say why not."""
    def act() -> None:
        there = book().get(view.bed)
        if there is not None:
            book().keep(change(there))

    _, problem = guard.in_words(act)
    state.missing, state.missing_at = (problem,) if problem else (), STEP
    if not problem:
        state.go_on()


def skip_block(state: RoundState, view: View) -> None:
    """Leave the step in hand out, or break the round off: each with a reason, on record."""
    step = view.step
    if step is None:
        return
    reason_key = f"round-reason-{step}-{state.turn}"
    # The key names the step: a box opened for one step stays closed for the next.
    with st.expander("Skip this step, or break the round off",
                     key=f"round-skip-box-{step}-{state.turn}"):
        blocks.say("What is left out stands on the record as skipped, with your reason.")
        st.text_input("Reason", key=reason_key, max_chars=200, autocomplete="off")
        initials_field(state, SKIP)
        say_what_is_missing(state, SKIP)
        for label, what, name in ((f"Skip: {STEPS[step]}", STEPS[step], "skip"),
                                  ("Break the round off here", REST, "rest")):
            confirm_button(state, view, label, partial(_skipped, what, reason_key),
                           f"Skipped: {what}.", name=name, first=False, place=SKIP)


def _skipped(what: str, reason_key: str) -> tuple[Draft, str | None]:
    return SkipDraft(what, st.session_state.get(reason_key) or ""), None


def _record(state: RoundState, view: View, step: StepName | None,
            draft: Callable[[], tuple[Draft, str | None]]) -> Entry | None:
    """The confirming act; None when the step is behind already."""
    fresh = look_up(view.bed)
    if fresh.step != step or fresh.round is None or view.round is None \
            or fresh.round.id != view.round.id:
        return None
    made, value = draft()
    checked = bool(st.session_state.get(f"round-clock-{state.turn}"))
    try:
        return doubtful.put(
            f"round-{step}-{state.turn}", f"{getattr(made, 'before_ml', '')}", made,
            by=Initials(state.initials), bed=BedCode(view.bed), confirmed_value=value,
            key=f"round-{state.form_key}", happened_at=Moment.now(), clock_checked=checked,
            identity=signed_in.identity())
    except ClockDoubtError:
        state.clock_doubt = True
        raise


def begin(state: RoundState, bed: str) -> None:
    """Begin a round at a bed."""
    take_initials(state)

    def act() -> None:
        code = BedCode(bed)
        by = Initials(state.initials)  # refused here and not at the first step
        doubt = bed_doubt(code)
        if doubt:
            raise ConfirmError(doubt)
        book().begin(Round.begin(code, Moment.now(), newest(ledger.open_store()), by))

    _, problem = guard.in_words(act)
    state.missing, state.missing_at = (problem,) if problem else (), STEP
    if not problem:
        state.go_on()


def close(state: RoundState, bed: str, said: str = "") -> None:
    """The round is over."""
    _, problem = guard.in_words(lambda: book().close(bed))
    state.missing, state.missing_at = (problem,) if problem else (), STEP
    if not problem:
        state.go_on(said)


def take_initials(state: RoundState, place: str = STEP) -> None:
    """Take over what stands in the field of that place."""
    state.initials = st.session_state.get(_by(state, place), state.initials) or ""


def _by(state: RoundState, place: str) -> str:
    return f"round-by-{place}-{state.turn}"

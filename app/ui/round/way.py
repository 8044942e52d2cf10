"""The way through an hour: how far it is, and the address that a step back leads to."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app.records import Moment
from app.rounds import STEPS, Round, StepName
from app.ui import guard, kept, ledger
from app.ui.round.state import RoundState
from app.ui.round.view import book, newest

AT, DONE = "at", "done"


def shown(state: RoundState) -> str:
    """What the page shows: what the address says, as far as the hour has come; an address
    that says nothing is the beginning."""
    wanted = st.query_params.get(AT, "")
    if wanted == DONE and state.done:
        return DONE
    names = list(STEPS)
    reached = names.index(state.furthest)
    return names[min(reached, names.index(wanted))] if wanted in names else names[0]


def bring_back(state: RoundState) -> None:
    """What was typed and chosen in views that are not drawn now, or in a session before."""
    for name, value in state.fields.items():
        if name not in st.session_state:
            st.session_state[name] = value


def go(state: RoundState, at: StepName) -> None:
    """One step on: the browser's Back leads to where the page is now."""
    st.query_params[AT] = at
    _keep(state, at)


def then(state: RoundState, act: Callable[..., None]) -> Callable[..., None]:
    """``act``, and then to where the hour has come by it."""
    def both(*args: object) -> None:
        before = state.furthest
        act(*args)
        if state.furthest != before:
            go(state, state.furthest)
    return both


def begin_again(state: RoundState) -> None:
    """Without the photo in hand, or the eye's reading: nobody is at this bed until the next."""
    state.chamber.drop_photo()
    state.eye = False
    st.query_params[AT] = "photo"
    close(state)


def _keep(state: RoundState, at: StepName) -> None:
    """Let the ward see how far it is; that it cannot be kept stops nobody."""
    def act() -> None:
        by, rounds = state.initials or kept.initials(), book()
        there = rounds.get(state.bed)
        if there is None:
            rounds.begin(Round.begin(state.bed, Moment.now(), newest(ledger.open_store()),
                                     by).moved(at))
        else:
            rounds.keep(there.moved(at, by))

    guard.in_words(act)


def close(state: RoundState) -> None:
    """The round is over."""
    guard.in_words(lambda: book().close(state.bed))

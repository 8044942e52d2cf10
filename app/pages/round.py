"""The page "Round": the whole hourly work at one bed, on one page."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app.records.codes import bed_words
from app.ui import blocks, guard, kept, theme
from app.ui.bed import bed_of_address
from app.ui.chamber_view import show_chamber
from app.ui.round import hour
from app.ui.round.start import choose_bed
from app.ui.round.state import RoundState
from app.ui.round.view import View, book, look_up
from app.ui.round.way import bring_back, shown
from vision.output.model import hm

TITLE = "Round"
ORDER = 15
_VIEWS: dict[str, Callable[[RoundState, View], None]] = {
    "photo": hour.photo_view, "own": hour.own_view, "both": hour.both_view,
    "done": hour.done_view}

#: The views beside which the chamber is drawn: not where a person reads for themselves.
_DRAWN = ("photo", "done")
#: Fields that are given their beginning by what the state holds, or have one of their own: a
#: second one from outside is named in the log as a fault.
_BEGIN_ALONE = ("value-", "tolerance-", "between-", "view-")
#: What boxes to tick are named after; whatever else is true or false is a button.
_TICKS = ("-minus", "-not", "-unit-right")


def page() -> None:
    """Draw the page for where the hour stands."""
    bed = bed_of_address()
    if not bed:
        theme.start_at_top("round-no-bed")
        blocks.title("Round", "The hourly work at one bed.")
        choose_bed()
        blocks.caution_box()
        return
    state = _state(bed)
    view, problem = guard.in_words(lambda: look_up(bed))
    if view is None:
        blocks.title(f"Round at bed {bed_words(bed)}")
        blocks.notice("The record cannot be read", [problem], stop=True)
        return
    if state.after is None:
        state.after = max((s.original.number for s in view.account.standings), default=0)
    at = shown(state)
    theme.start_at_top(f"round-{bed}-{at}-{state.turn}-{state.chamber.key}"
                       f"-{state.chamber.answers}")
    blocks.title(f"Round at bed {bed_words(bed)}")
    _under_way(view)
    drawn = at in _DRAWN and bool(view.account.account.readings)
    left, right = st.columns([3, 2], gap="medium") if drawn else (st.container(), None)
    with left, st.container(key=f"hour-{at}", gap="small"):
        _VIEWS[at](state, view)
    if right is not None:
        with right:
            show_chamber(view.account, view.now.local)
    _remember(state)
    blocks.caution_box()
    st.button("Go to another bed", key="round-other", width="stretch",
              on_click=lambda: st.query_params.clear())


def _state(bed: str) -> RoundState:
    """What this browser has in hand at the bed; a session that begins anew finds it again."""
    state = kept.of_browser(f"round {bed}", lambda: RoundState(bed))
    if st.session_state.get("round-in-hand") is not state:
        st.session_state["round-in-hand"] = state
        state.chamber.value.set(state.chamber.value.text)
    bring_back(state)
    return state


def _remember(state: RoundState) -> None:
    """What is typed and chosen, for the other views and for a session that begins anew."""
    mine = (state.key, state.chamber.key)
    for name, value in st.session_state.items():
        if not any(key in str(name) for key in mine) or str(name).startswith(_BEGIN_ALONE):
            continue
        if isinstance(value, str) or str(name).endswith(_TICKS):
            state.fields[str(name)] = value
        elif value is None:
            state.fields.pop(str(name), None)


def _under_way(view: View) -> None:
    """A colleague who is at it, or a state that cannot be used."""
    if view.round_problem:
        blocks.notice("Who is at this bed cannot be told", [view.round_problem], stop=True)
        st.button("Put the damaged state aside", key="round-aside", width="stretch",
                  on_click=_put_aside, args=(view.bed,))
    elif view.round is not None and view.round.by and view.round.by != kept.initials():
        blocks.say(f"Begun by {view.round.by} at "
                   f"{hm(view.round.began.local, view.now.local)}.")


def _put_aside(bed: str) -> None:
    guard.in_words(lambda: book().close(bed))

"""The page "Reading trial": people read a labelled set blind, in random order, timed."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app.ui import blocks, guard, ledger, theme
from app.ui.number import decimal_field, parse_decimal, within
from app.ui.text import as_label
from app.ui.trial_state import TrialState, trial_sets
from app.ui.zoom import zoom_picture
from vision.imaging.photo import load_photo

TITLE = "Reading trial"
ORDER = 90
TEACHING = "How well people read pictures whose values are known."
_STATE = "trial_state"


def page() -> None:
    """Draw the page for where the reader stands."""
    state: TrialState = st.session_state.setdefault(_STATE, TrialState())
    blocks.title(TITLE, "How well do people read these pictures? For testers, with pictures whose "
                        "true value is known. Nothing here goes on a patient's record.")
    if state.running:
        _task(state)
    else:
        if state.finished:
            blocks.notice(f"Thank you, {state.reader}: all {state.total} pictures are read.",
                          ["The readings are kept beside the set.",
                           *filter(None, [state.late])])
        _start(state)


def _start(state: TrialState) -> None:
    if "://" in ledger.place():
        blocks.notice("A reading trial needs a data folder",
                      ["This program keeps its record in a database and has no folder for "
                       "sets of pictures."], stop=True)
        return
    folder = Path(ledger.place()) / "trials"
    sets = {p.name: p for p in trial_sets(folder)}
    if not sets:
        blocks.notice("There is no set of pictures to read", [
            "Put a labelled set into a folder of its own in 'trials' in the data folder: "
            "labels.jsonl and the pictures that it names."])
        return
    name = st.radio("Set of pictures", list(sets), index=0 if len(sets) == 1 else None,
                    key="trial-set", format_func=as_label)
    repeats = st.number_input("How often each picture comes", 1, 5, 1, key="trial-repeats")

    def begin() -> None:
        if name is None:
            state.problem = "Choose a set of pictures first."
            return
        code = str(st.session_state.get("trial-code") or "")
        _, state.problem = guard.in_words(lambda: state.begin(sets[name], code, int(repeats)))

    with theme.enter_presses("trial-begin"):
        st.text_input("Your reader code (given by the tester, not your name)", value=state.reader,
                      key="trial-code", max_chars=16, autocomplete="off",
                      placeholder="for example R07")
        if state.problem:
            blocks.notice("Not begun yet", [state.problem], stop=True)
        st.button("Begin, or go on where I stopped", type="primary", key="trial-begin",
                  on_click=begin, width="stretch")


def _task(state: TrialState) -> None:
    done, key = state.total - len(state.left), state.task_key
    blocks.status_line(f"Picture {done + 1} of {state.total}. Read it as you would at the bedside.")
    if state.late:
        blocks.notice("The last reading is not kept", [state.late], stop=True)
    opened, problem = guard.in_words(lambda: (load_photo(state.picture()), state.scale()))
    if opened is None:
        blocks.notice("This picture cannot be shown", [problem, "Tell the tester."], stop=True)
        st.button("Stop here", key=f"stop-{key}", on_click=state.leave)
        return
    photo, scale = opened
    left, right = st.columns([3, 2], gap="medium")
    with left:
        zoom_picture(photo, key, "The picture to be read")
    with right:
        field = f"value-{key}"
        low = min(0.0, scale.lowest_mark.value)
        high = 2 * scale.capacity

        def keep() -> None:
            text = str(st.session_state.get(field) or "")
            typed = within(parse_decimal(text, scale.unit), low, high, scale.unit)
            if typed.value is None:
                state.problem = typed.problem or "Type your reading first."
            else:
                _, state.problem = guard.in_words(lambda: state.answer(typed.value))

        def pass_over() -> None:
            _, state.problem = guard.in_words(lambda: state.answer(None))

        with theme.enter_presses(field):
            decimal_field(f"Your reading, {scale.unit}", field, unit=scale.unit, lowest=low,
                          highest=high)
            st.button("Keep and next", type="primary", key=f"keep-{key}", on_click=keep,
                      width="stretch")
        st.button("Cannot be read", key=f"cannot-{key}", on_click=pass_over, width="stretch")
        if state.problem:
            blocks.notice("Not kept", [state.problem], stop=True)
        st.button("Stop here, go on later", key=f"stop-{key}", on_click=state.leave,
                  width="stretch")
    state.show()

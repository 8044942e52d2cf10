"""The ward's checklists on a page: reminders with their sources, and a drying timer."""

from __future__ import annotations

import time

import streamlit as st

from app.checklists import Checklist, Line, default_checklists, ward_checklists
from app.ui import blocks, guard, ledger
from app.ui.text import as_label


def checklists_block(key: str) -> None:
    """A choice of list, and its lines."""
    lists, problem = guard.in_words(_lists)
    if lists is None:
        blocks.notice("The ward's checklist file cannot be used", [problem], stop=True)
        blocks.say("The lists that come with the program are shown instead.")
        lists = default_checklists()
    name = st.radio("Checklist", list(lists), index=None, key=f"{key}-list",
                    format_func=lambda n: as_label(lists[n].title))
    if name is not None:
        checklist_block(lists[name], key)


def checklist_block(checklist: Checklist, key: str) -> None:
    """The lines of one list.  Ticks help the eye; they are not kept and allow nothing."""
    for number, line in enumerate(checklist.lines):
        st.checkbox(as_label(line.text), key=f"{key}-{checklist.name}-{number}")
        blocks.small(f"Source: {line.source}")
        if line.timer is not None:
            _timer(line, f"{key}-{checklist.name}-{number}")
    blocks.say("A reminder. It approves nothing, and nothing of it is kept.")


def _lists() -> dict[str, Checklist]:
    return ward_checklists(ledger.data_folder())


@st.fragment(run_every=1.0)
def _timer(line: Line, key: str) -> None:
    """A clock that counts the waiting time up; it goes on when the page is drawn anew."""
    if line.timer is None:
        return
    began_key = f"{key}-began"
    if st.button(as_label(f"Start the clock ({line.timer.words})"), key=f"{key}-start"):
        st.session_state[began_key] = time.time()
    began = st.session_state.get(began_key)
    if began is None:
        return
    passed = int(time.time() - began)
    if passed < line.timer.shortest_s:
        blocks.say(f"{passed} s passed: wait until it is dry, at least {line.timer.shortest_s} s.")
    else:
        blocks.say(f"{min(passed, 3600)} s passed. Look whether it is dry.")

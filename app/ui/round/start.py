"""Choosing the bed: one with a round under way, or by its code."""

from __future__ import annotations

import streamlit as st

from app.records import BedCode
from app.rounds import STEPS, Round
from app.ui import blocks, guard
from app.ui.bed import bed_help
from app.ui.round.view import book
from app.ui.text import as_label

BED = "round-bed"


def choose_bed() -> None:
    """Draw the rounds under way and the field for a bed."""
    under_way, problem = guard.in_words(lambda: book().all())
    if problem:
        blocks.notice("The rounds under way cannot be read", [problem], stop=True)
    if under_way:
        blocks.step("Rounds under way")
        for round_ in under_way:
            st.button(as_label(f"Go on at bed {round_.bed}"), key=f"round-go-{round_.id}",
                      width="stretch", on_click=_open, args=(round_.bed,))
            blocks.say(_how(round_))
    blocks.step("Bed")
    st.text_input("Bed code of your ward (no names)", key=BED, max_chars=24, autocomplete="off",
                  placeholder="for example QUAY-3")
    bed_help("round", st.session_state.get(BED) or "", _open)

    missing = "round-bed-missing"

    def pressed() -> None:
        code, sentence = guard.in_words(lambda: BedCode(st.session_state.get(BED) or ""))
        st.session_state[missing] = sentence
        if code:
            _open(code)

    if st.session_state.get(missing):
        blocks.notice("Not yet", [st.session_state[missing]], stop=True)
    st.button("Open this bed", key="round-open", type="primary", width="stretch",
              on_click=pressed)


def _open(bed: str) -> None:
    st.query_params["bed"] = bed


def _how(round_: Round) -> str:
    who = f" by {round_.by}" if round_.by else ""
    return f"Begun{who} at {round_.began.local:%H:%M}: {STEPS[round_.at]}."

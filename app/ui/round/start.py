"""Choosing the bed: one with a round under way, or by its code."""

from __future__ import annotations

import streamlit as st

from app.records import BedCode
from app.records.codes import bed_words
from app.rounds import STEPS, Round
from app.ui import blocks, guard, theme
from app.ui.bed import bed_help
from app.ui.round.view import book
from app.ui.shift.write import now_here
from app.ui.text import as_label
from vision.output.model import hm

BED = "round-bed"


def choose_bed() -> None:
    """Draw the rounds under way and the field for a bed."""
    under_way, problem = guard.in_words(lambda: book().all())
    if problem:
        blocks.notice("The rounds under way cannot be read", [problem], stop=True)
    if under_way:
        blocks.step("Rounds under way")
        for round_ in under_way:
            st.button(as_label(f"Go on at bed {bed_words(round_.bed)}"), width="stretch",
                      key=f"round-go-{round_.id}", on_click=_open, args=(round_.bed,))
            blocks.say(_how(round_))
    blocks.step("Bed")
    missing = "round-bed-missing"

    def pressed() -> None:
        code, sentence = guard.in_words(lambda: BedCode(st.session_state.get(BED) or ""))
        st.session_state[missing] = sentence
        if code:
            _open(code)

    with theme.enter_presses("round-bed"):
        st.text_input("Bed code of your ward (no names)", key=BED, max_chars=24,
                      autocomplete="off", placeholder="for example QUAY-3")
        bed_help("round", st.session_state.get(BED) or "", _open)
        if st.session_state.get(missing):
            blocks.notice("Not yet", [st.session_state[missing]], stop=True)
        st.button("Open this bed", key="round-open", type="primary", width="stretch",
                  on_click=pressed)


def _open(bed: str) -> None:
    st.query_params["bed"] = bed


def _how(round_: Round) -> str:
    who = f" by {round_.by}" if round_.by else ""
    return f"Begun{who} at {hm(round_.began.local, now_here())}: {STEPS[round_.at]}."

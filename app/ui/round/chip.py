"""Who is at work: remembered at this device for the shift, shown, and never guessed later."""

from __future__ import annotations

import streamlit as st

from app.ui import kept
from app.ui.round.state import RoundState
from app.ui.text import as_label


def chip(state: RoundState) -> str:
    """Draw the chip, or the field; the initials that are remembered, else ""."""
    known = "" if state.ask_initials else kept.initials()
    if not known:
        st.text_input("Your initials", key=_key(state), max_chars=8, autocomplete="off")
        return ""

    def not_me() -> None:
        kept.remember_initials("")
        state.ask_initials = True

    state.initials = known
    st.button(as_label(f"{known} - not you?"), key=f"not-me-{state.key}", on_click=not_me)
    return known


def initials_now(state: RoundState) -> str:
    """Whose initials the press carries: those typed, else those that the button named."""
    typed = st.session_state.get(_key(state)) or ""
    return typed or ("" if state.ask_initials else state.initials)


def _key(state: RoundState) -> str:
    return f"by-{state.key}"

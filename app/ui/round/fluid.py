"""The look of the fluid, one tap, beside how it looked before; nobody has to say it."""

from __future__ import annotations

import streamlit as st

from app.entering import Proposed
from app.records import EventDraft
from app.ui.charting import look_before, part_fields, typed_parts
from app.ui.round.state import RoundState
from app.ui.round.view import View


def fluid_row(state: RoundState, view: View) -> None:
    """Draw the row."""
    key = _key(state)
    part_fields("fluid-seen", key)
    seen = st.session_state.get(f"{key}-look") or ""
    if seen:
        look_before(view.account.standings, view.now, seen)


def fluid_proposed(state: RoundState, view: View) -> list[Proposed]:
    """What of the fluid's look goes on record."""
    found, _ = typed_parts("fluid-seen", _key(state))
    if not found:
        return []
    return [Proposed(EventDraft("fluid-seen", **found),  # type: ignore[arg-type]
                     {"key": f"{state.form}-fluid"})]


def _key(state: RoundState) -> str:
    return f"fluid-{state.key}"

"""The page "Level": the zero reference against the landmark, from photos, confirmed."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks
from app.ui.level import several
from app.ui.level.confirm import confirm_step
from app.ui.level.state import LevelState
from app.ui.level.steps import photo_step, print_cards, result_step

TITLE = "Level"
ORDER = 20
_STATE = "level_state"

CAUTIONS = (
    "Close the drain before patient, bed or system is moved, and open it again afterwards.",
    "The order names the landmark. Choosing it is often the larger error, and no camera sees it.",
    "After the bed, the head or the patient has moved, the last level no longer counts.",
    "A kink, air, a turned stopcock or a wet vent makes the height meaningless: look at the line.",
)


def page() -> None:
    """Draw the page for the photos in hand."""
    state: LevelState = st.session_state.setdefault(_STATE, LevelState())
    blocks.title("Level", "How much higher or lower the zero reference hangs than the landmark.")
    if state.recorded:
        blocks.cards(blocks.card("On record", "Level check", "", [state.recorded], "confirmed"))
    left, right = st.columns(2, gap="medium")
    with left:
        print_cards()
        photo_step(state)
    with right:
        result_step(state)
        several.strip(state)
        several.one_more(state)
        confirm_step(state)
    blocks.notice("Remember", CAUTIONS)
    blocks.caution_box()

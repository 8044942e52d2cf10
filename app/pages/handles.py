"""The page "Handles": what communicates with what, and the ward's checklists beside it."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks
from app.ui.checklist_view import checklists_block
from app.ui.flow import flow_block

TITLE = "Handles"
ORDER = 40
TEACHING = "What the stopcocks connect, and what that allows."


def page() -> None:
    """Draw the page."""
    blocks.title("Handles", "What the stopcocks connect, and what that allows.")
    left, right = st.columns(2, gap="medium")
    with left:
        blocks.step("How the handles stand")
        flow_block("flow")
    with right:
        blocks.step("Reminders")
        checklists_block("handles")
    blocks.caution_box("A diagram for thinking it through, not a check of the real tubing. "
                       "Look at the tubing itself; the local order and trained staff decide.")

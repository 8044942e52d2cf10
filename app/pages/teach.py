"""The page "Teach and test": lessons, handles and trials, which put nothing on record."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks, ways

TITLE = "Teach and test"
ORDER = 55


def page() -> None:
    """Draw the page."""
    from app.pages import all_pages

    blocks.title(TITLE, "To learn with and to try things out. Nothing here goes on record.")
    for entry in all_pages():
        if entry.teaching:
            with st.container(key=f"way-{entry.name}", gap=None):
                ways.link(entry.name, entry.title)
                blocks.say(entry.teaching)

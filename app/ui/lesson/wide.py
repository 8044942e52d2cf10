"""A projector's screen: the lesson pages use its width, and words can be read from the back row."""

from __future__ import annotations

import streamlit as st

_STYLE = """<style>
@media (min-width: 1600px) and (min-height: 800px) {
  [data-testid="stMainBlockContainer"] { max-width: 1360px; zoom: 1.2; }
  [data-testid="stImage"] img { max-height: 50vh !important; }
}
</style>"""


def use_width() -> None:
    """Put the rule on the page; smaller screens are left as they are."""
    st.html(_STYLE)

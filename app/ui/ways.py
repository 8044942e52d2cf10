"""Ways from one page to another that keep what the session knows."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from app.ui import blocks
from app.ui.text import as_label

_KNOWN = "ways"


def know(pages: Mapping[str, st.Page]) -> None:  # type: ignore[valid-type]
    """The pages of this run by name, from the entry script."""
    st.session_state[_KNOWN] = dict(pages)


def link(name: str, label: str, **query: str) -> None:
    """A link to a page; its words alone where the page is not known (a page run by itself)."""
    page = st.session_state.get(_KNOWN, {}).get(name)
    if page is None:
        blocks.say(label)
    else:
        st.page_link(page, label=as_label(label), query_params=query or None)


def go(name: str, **query: str) -> None:
    """Go to a page now; stays where the page is not known."""
    page = st.session_state.get(_KNOWN, {}).get(name)
    if page is not None:
        st.switch_page(page, query_params=query or None)

"""The entry script of the pages, which ``countersight serve`` runs behind ``asgi.py``."""

from __future__ import annotations

import sys
from pathlib import Path

# Streamlit puts this folder on the path; the house is imported from two above.
_HOUSE = str(Path(__file__).resolve().parents[2])
if _HOUSE not in sys.path:
    sys.path.insert(0, _HOUSE)

import streamlit as st  # noqa: E402

from app.pages import PageEntry, all_pages  # noqa: E402
from app.ui import demo_bar, quiet, signed_in, theme, ways, whole_page  # noqa: E402
from app.ui.blocks import CAUTION  # noqa: E402
from app.ui.text import as_label  # noqa: E402
from vision import __version__  # noqa: E402

ABOUT = f"Countersight {__version__}. {CAUTION}"


def main() -> None:
    """Set up the page and hand over to the one that was chosen."""
    whole_page.begin_at_the_top()
    st.set_page_config(page_title="Countersight", layout="wide",
                       initial_sidebar_state="collapsed", menu_items={"About": ABOUT})
    quiet.logs()
    theme.apply()
    entries = all_pages()
    first = entries[0]
    # The first page answers at the bare address, and by its name as the others do.
    start = st.Page(first.page, title=first.title, url_path="start", default=True)
    pages = {first.name: start} | {
        entry.name: st.Page(entry.page, title=entry.title, url_path=_address(entry),
                            visibility="hidden" if entry.teaching else "visible")
        for entry in entries[1:]}
    named = st.Page(first.page, title=first.title, url_path=_address(first), visibility="hidden")
    ways.know(pages)
    chosen = st.navigation([*pages.values(), named],
                           position="top" if len(entries) > 1 else "hidden")
    if not signed_in.let_in():
        return
    demo_bar.show()
    chosen.run()
    if chosen not in (start, named):
        with st.container(key="other-pages", horizontal=True):
            st.page_link(start, label=as_label("All beds"))


def _address(entry: PageEntry) -> str:
    return entry.name.replace("_", "-")


main()

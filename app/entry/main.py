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
from app.ui import quiet, signed_in, theme  # noqa: E402
from app.ui.blocks import CAUTION  # noqa: E402
from app.ui.text import as_label  # noqa: E402
from vision import __version__  # noqa: E402

ABOUT = f"Countersight {__version__}. {CAUTION}"


def main() -> None:
    """Set up the page and hand over to the one that was chosen."""
    st.set_page_config(page_title="Countersight", layout="wide",
                       initial_sidebar_state="collapsed", menu_items={"About": ABOUT})
    quiet.logs()
    theme.apply()
    entries = all_pages()
    first = entries[0]
    # The first page answers at the bare address, and by its name as the others do.
    pages = [st.Page(first.page, title=first.title, url_path="start", default=True),
             st.Page(first.page, title=first.title, url_path=_address(first),
                     visibility="hidden")]
    pages += [st.Page(entry.page, title=entry.title, url_path=_address(entry))
              for entry in entries[1:]]
    chosen = st.navigation(pages, position="top" if len(entries) > 1 else "hidden")
    if not signed_in.let_in():
        return
    chosen.run()
    others = [page for page in pages if page.visibility == "visible" and page != chosen
              and page.title != chosen.title]
    if others:
        with st.container(key="other-pages", horizontal=True):
            for page in others:
                st.page_link(page, label=as_label(page.title))


def _address(entry: PageEntry) -> str:
    return entry.name.replace("_", "-")


main()

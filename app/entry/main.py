"""The entry script of the pages: ``countersight serve`` or ``streamlit run app/entry/main.py``."""

from __future__ import annotations

import sys
from pathlib import Path

# Streamlit puts this folder on the path; the house is imported from two above.
_HOUSE = str(Path(__file__).resolve().parents[2])
if _HOUSE not in sys.path:
    sys.path.insert(0, _HOUSE)

import streamlit as st  # noqa: E402

from app.pages import all_pages  # noqa: E402
from app.ui import theme  # noqa: E402


def main() -> None:
    """Set up the page and hand over to the one that was chosen."""
    st.set_page_config(page_title="Countersight", layout="wide",
                       initial_sidebar_state="collapsed")
    theme.apply()
    pages = [
        st.Page(entry.page, title=entry.title, url_path=entry.name.replace("_", "-"),
                default=index == 0)
        for index, entry in enumerate(all_pages())
    ]
    st.navigation(pages, position="top" if len(pages) > 1 else "hidden").run()


main()

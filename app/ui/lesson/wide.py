"""Screens of a classroom: picture, drawing and numbers of one step are seen without scrolling, and
on a projector words can be read from the back row."""

from __future__ import annotations

import streamlit as st

# Heights are shares of the screen that leave room for the page's head and a slider; a projector's
# page is drawn a fifth larger, and its shares are that much smaller.
_STYLE = """<style>
.st-key-le-picture [data-testid="stImage"] img { max-height: max(15rem, calc(100vh - 27rem)); }
.st-key-le-beside [role="img"] { max-height: max(13rem, calc(100vh - 34rem)); }
.st-key-ll-picture [role="img"] { max-height: max(15rem, calc(100vh - 20rem)); }
.st-key-lesson-asked img, .st-key-lesson-asked [role="img"] {
  max-height: calc(100vh - 22rem) !important; }
.st-key-lesson-told [role="img"] { max-height: max(10rem, calc(100vh - 45rem)); }
.st-key-lc-asked img { max-height: calc(100vh - 20rem) !important; }
.st-key-lc-told [role="img"] { max-height: max(10rem, calc(50vh - 12rem)); }
.st-key-lc-shown [role="img"] { max-height: max(9rem, calc(50vh - 15.5rem)); }
@media (min-width: 1000px) {
  [data-testid="stMainBlockContainer"] { padding-top: 3.2rem; }
  .st-key-le-beside .cs-note, .st-key-ll-beside .cs-note, .st-key-lesson-told .cs-note {
    font-size: .85rem; }
}
@media (min-width: 1600px) and (min-height: 800px) {
  [data-testid="stMainBlockContainer"] { max-width: 1360px; zoom: 1.2; }
  .st-key-le-picture [data-testid="stImage"] img { max-height: calc(83vh - 27rem); }
  .st-key-le-beside [role="img"] { max-height: calc(83vh - 34rem); }
  .st-key-ll-picture [role="img"] { max-height: calc(83vh - 20rem); }
  .st-key-lesson-asked img, .st-key-lesson-asked [role="img"] {
    max-height: calc(83vh - 22rem) !important; }
  .st-key-lc-told [role="img"] { max-height: calc(41vh - 12rem); }
  .st-key-lc-shown [role="img"] { max-height: calc(41vh - 15.5rem); }
  .st-key-lc-asked img { max-height: calc(83vh - 20rem) !important; }
  .st-key-lesson-told [role="img"] { max-height: max(10rem, calc(83vh - 45rem)); }
}
</style>"""


def use_width() -> None:
    """Put the rules on the page."""
    st.html(_STYLE)

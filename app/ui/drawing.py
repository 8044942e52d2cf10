"""Line drawings of our own on a page, in the colour of the text around them.

Streamlit's HTML element lets no SVG through, and an SVG in an image element
cannot know whether the page is light or dark.  So the drawing is used as a mask
over the colour of the text: it fits both, and a screen reader gets the title.
"""

from __future__ import annotations

import base64

import streamlit as st
from markupsafe import Markup

from app.ui import blocks
from vision.drawing.svg import Drawing


def show_drawing(drawn: Drawing) -> None:
    """Show a drawing of one colour, any opacities; a screen reader says its title."""
    data = base64.b64encode(drawn.svg.encode("utf-8")).decode("ascii")
    mask = Markup(f"url(data:image/svg+xml;base64,{data}) center/contain no-repeat")
    st.html(blocks.block("drawing", drawn.title, drawn.width, drawn.height, mask))

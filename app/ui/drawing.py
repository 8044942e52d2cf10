"""Line drawings of our own on a page, in the colour of the text around them.

Streamlit's HTML element lets no SVG through, and an SVG in an image element
cannot know whether the page is light or dark.  So the drawing is used as a mask
over the colour of the text: it fits both, and a screen reader gets the title.
"""

from __future__ import annotations

import base64
from html import escape

import streamlit as st


def show_drawing(svg: str, title: str, width: float, height: float, widest_px: int = 560) -> None:
    """Show ``svg`` (one colour, any opacities) of the given size in drawing units.

    ``title`` is what a screen reader says: the whole content of the drawing in words.
    """
    st.html(drawing_html(svg, title, width, height, widest_px))


def drawing_html(svg: str, title: str, width: float, height: float, widest_px: int = 560) -> str:
    """The HTML of :func:`show_drawing`."""
    data = base64.b64encode(svg.encode("utf-8")).decode("ascii")
    mask = f"url(data:image/svg+xml;base64,{data}) center/contain no-repeat"
    return (f'<div role="img" aria-label="{escape(title)}" style="width:100%;'
            f"max-width:{widest_px}px;aspect-ratio:{width:.0f}/{height:.0f};"
            f'background-color:currentColor;-webkit-mask:{mask};mask:{mask}"></div>')

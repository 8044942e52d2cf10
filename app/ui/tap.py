"""A picture to tap, with number fields for those who cannot or will not tap.

A finger covers several pixels of the photo: a tap is a hint for the reader,
never the measurement.
"""

from __future__ import annotations

from typing import BinaryIO

import streamlit as st
from streamlit_image_coordinates import streamlit_image_coordinates

from app.ui.number import decimal_field
from app.ui.pictures import ScreenCopy


def tap_picture(copy: ScreenCopy, key: str, what: str) -> tuple[float, float] | None:
    """Ask for a point of the photo; (x, y) in its pixels, or None so far.

    ``what`` names the thing to tap.  ``key`` has to carry the photo's digest, so
    that a tap on one photo is never taken for a tap on the next.  Two number
    fields, in percent of the picture shown, do the same by keyboard; where both
    are filled they count before the tap.
    """
    # A fixed container keeps the frame in its place when something above it changes.
    with st.container(key=f"tap-{key}"):
        tap = streamlit_image_coordinates(
            _Encoded(copy.jpeg), key=f"tapped-{key}", width="stretch", image_format="JPEG",
            cursor="crosshair")
    point = None
    if tap:
        point = copy.to_photo(tap["x"], tap["y"], tap["width"], tap["height"])
    with st.expander("Without tapping: give the place in numbers"):
        across = decimal_field("From the left edge, in percent of the width", f"across-{key}",
                               unit="%", lowest=0, highest=100)
        down = decimal_field("From the top edge, in percent of the height", f"down-{key}",
                             unit="%", lowest=0, highest=100)
    if across.value is not None and down.value is not None:
        point = copy.to_photo(across.value / 100 * (copy.width - 1),
                              down.value / 100 * (copy.height - 1), copy.width, copy.height)
    if point is None:
        st.write(f"Nothing chosen yet: tap {what}.")
    else:
        u = (point[0] - copy.left) * copy.scale / max(1, copy.width - 1) * 100
        v = (point[1] - copy.top) * copy.scale / max(1, copy.height - 1) * 100
        st.write(f"Chosen: {u:.0f} % from the left, {v:.0f} % from the top. "
                 "Tap again to move it.")
    return point



class _Encoded:
    """An already encoded JPEG under the one method the component asks for."""

    def __init__(self, jpeg: bytes) -> None:
        self._jpeg = jpeg

    def save(self, out: BinaryIO, **_: object) -> None:
        """Write the JPEG as it is, so that nothing is compressed twice."""
        out.write(self._jpeg)

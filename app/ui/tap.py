"""A picture to tap, with number fields for those who cannot or will not tap.

A finger covers several marks of a whole photo, so the place is chosen twice: in
the picture, then in an enlarged part of it.  Even so a tap is a hint for the
reader, never the measurement.
"""

from __future__ import annotations

from typing import BinaryIO

import streamlit as st
from streamlit_image_coordinates import streamlit_image_coordinates

from app.ui import blocks
from app.ui.number import decimal_field, parse_decimal, within
from app.ui.pictures import Box, screen_copy, to_photo, with_cross
from vision.imaging.photo import Photo

Point = tuple[float, float]

#: Width of the enlarged part, as a share of the picture's.
NEAR_SHARE = 0.3


def tap_point(photo: Photo, key: str, what: str, box: Box | None = None) -> None:
    """Ask for a point of ``photo``; :func:`chosen_point` tells what was chosen.

    ``what`` names the thing to tap, ``box`` (left, top, right, bottom) in photo
    pixels limits the picture to a part.  ``key`` has to carry the photo's digest,
    so that a tap on one photo is never taken for a tap on the next.  Number
    fields, in percent of the picture, do the same by keyboard and go first.
    """
    k = photo.working_scale
    part = None if box is None else (box[0] // k, box[1] // k, box[2] // k, box[3] // k)
    with st.expander("Without tapping: give the place in numbers"):
        for side, words in (("across", "From the left edge, in percent of the width"),
                            ("down", "From the top edge, in percent of the height")):
            decimal_field(words, f"{side}-{key}", unit="%", lowest=0, highest=100)
    _draw(screen_copy(photo.working_rgb, part).jpeg, f"far-{key}")
    rough = _rough(photo, key, box)
    if rough is None:
        blocks.say(f"Nothing chosen yet: tap {what}.")
        return
    blocks.say("Chosen: where the cross is. Tap here to move it.")
    left, top, right, bottom = _around(photo, rough, box)
    x, y = chosen_point(photo, key, box) or rough
    enlarged = with_cross(photo.rgb[top:bottom, left:right], (x - left, y - top))
    _draw(screen_copy(enlarged).jpeg, _near_key(key, rough))


def chosen_point(photo: Photo, key: str, box: Box | None = None) -> Point | None:
    """The point chosen so far, (x, y) in pixels of the upright photo.

    Reads what the browser sent last, so it is up to date in a callback as well.
    """
    rough = _rough(photo, key, box)
    if rough is None:
        return None
    return _tapped(_near_key(key, rough), _around(photo, rough, box)) or rough


def _rough(photo: Photo, key: str, box: Box | None) -> Point | None:
    left, top, right, bottom = whole = box or (0, 0, photo.width, photo.height)
    across, down = (
        within(parse_decimal(st.session_state.get(f"{side}-{key}") or "", "%"), 0, 100).value
        for side in ("across", "down"))
    if across is None or down is None:
        return _tapped(f"far-{key}", whole)
    return left + across / 100 * (right - left - 1), top + down / 100 * (bottom - top - 1)


def _tapped(key: str, box: Box) -> Point | None:
    """The last tap in a picture that showed ``box``, in photo pixels.

    A tap comes in pixels of the picture as the browser shows it at that moment.
    """
    tap = st.session_state.get(key)
    if not tap:
        return None
    left, top, right, bottom = box
    return to_photo((tap["x"], tap["y"]), (tap["width"], tap["height"]),
                    (left, top, right, bottom))


def _around(photo: Photo, point: Point, box: Box | None) -> Box:
    """The part to enlarge, kept inside the photo."""
    width = photo.width if box is None else box[2] - box[0]
    half = max(24, round(NEAR_SHARE / 2 * width))
    left = min(max(0, round(point[0]) - half), max(0, photo.width - 2 * half))
    top = min(max(0, round(point[1]) - half), max(0, photo.height - 2 * half))
    return left, top, min(photo.width, left + 2 * half), min(photo.height, top + 2 * half)


def _near_key(key: str, rough: Point) -> str:
    return f"near-{key}-{rough[0]:.0f}-{rough[1]:.0f}"


def _draw(jpeg: bytes, key: str) -> None:
    # A fixed container keeps the frame in its place when something above it changes.
    with st.container(key=f"tap-{key}"):
        streamlit_image_coordinates(_Encoded(jpeg), key=key, width="stretch",
                                    image_format="JPEG", cursor="crosshair")


class _Encoded:
    """An already encoded JPEG under the one method the component asks for."""

    def __init__(self, jpeg: bytes) -> None:
        self._jpeg = jpeg

    def save(self, out: BinaryIO, **_: object) -> None:
        """Write the JPEG as it is, so that nothing is compressed twice."""
        out.write(self._jpeg)

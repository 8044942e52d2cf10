"""The camera on a page: offered beside the file picker, for who has one and allows it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st
from streamlit.components import v1 as components

from app.ui import guard
from app.ui.camera import targets
from app.ui.camera.taken import Taken, unpacked
from vision.errors import PhotoError
from vision.imaging.photo import Photo, load_photo, with_gravity

# A frame of its own: the policy of the pages (app.headers) lets no script run that comes as a
# text, which is how the newer kind of component brings its own.  It is known to the page
# server that runs while this module is imported: no module of ``app.entry`` may import it.
_frame = components.declare_component("camera", path=str(Path(__file__).parent / "page"))


@dataclass(frozen=True)
class Camera:
    """``take`` gets the decoded photos of one press, the sharpest of the burst first, then those
    from other heights; ``target`` is what the live picture is searched for (none: light, tilt
    and horizon only), ``words`` what stands under it before anything was found."""

    take: Callable[[list[Photo]], None]
    target: targets.Target | None = None
    words: str = ""


def cards_camera(take: Callable[[Photo], None]) -> Camera:
    """The camera of a level check: it looks for both cards; the sharpest photo counts."""
    return Camera(lambda photos: take(photos[0]), targets.cards(),
                  "Bring both cards into the picture.")


def camera_block(key: str, refuse: Callable[[str], None], camera: Camera) -> None:
    """Draw the camera; ``refuse`` gets one sentence for photos that are none.

    ``key`` has to change with every photo: the frame and what it sent are then gone.
    """
    def arrived() -> None:
        sent: Any = st.session_state.get(key)
        if not isinstance(sent, bytes | bytearray) or not sent:
            return
        photos, problem = guard.in_words(lambda: [_photo(t) for t in unpacked(bytes(sent))])
        if photos is None:
            refuse(problem)
        else:
            camera.take(photos)

    _frame(key=key, on_change=arrived, default=None, path=targets.AIM_PATH,
           session=targets.point(camera.target), words=camera.words)


def _photo(taken: Taken) -> Photo:
    try:
        return with_gravity([load_photo(taken.data)], [taken.gravity])[0]
    except PhotoError:
        raise PhotoError("The camera of this page gave no photo that can be read; take it again, "
                         "or choose a photo.") from None

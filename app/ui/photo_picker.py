"""Photo in: taken or chosen on the phone, picked from the demos, or by this page's camera."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import streamlit as st

from app.ui import blocks, uploads
from app.ui.camera.block import Camera, camera_block
from app.ui.demo import DemoPhoto, demo_photos
from app.ui.text import as_label
from vision.imaging.photo import Photo

Source = Literal["file", "camera", "demo"]

TYPES = ["jpg", "jpeg", "png", "webp", "heic", "heif"]
MAX_MB = 40


def pick_photo(
    key: str,
    take: Callable[[Photo, Source], None],
    refuse: Callable[[str], None],
    take_demo: Callable[[DemoPhoto], None] | None = None,
    what: str = "the chamber",
    camera: Camera | None = None,
) -> None:
    """Draw the ways to bring a photo in.

    ``take`` gets a decoded photo and where it came from; ``refuse`` gets one
    sentence for a file that is none.  ``key`` has to change with every photo, so
    that the browser's copy of the last one is let go.  The demos are offered
    only where ``take_demo`` is given.  ``what`` names the thing to photograph.  ``camera``
    says what this page's camera is pointed at and who takes its photos; without it, it takes
    one and looks for nothing.
    """

    def from_widget(widget: str, source: Source) -> None:
        uploads.take(widget, lambda photo, problem: refuse(problem) if photo is None
                     else take(photo, source))

    with st.container(key=f"take-the-photo-{key}"):
        st.file_uploader(
            as_label(f"Take or choose a photo of {what}"), type=TYPES, key=f"photo-{key}",
            max_upload_size=MAX_MB, on_change=from_widget, args=(f"photo-{key}", "file"))
    demos = demo_photos() if take_demo else ()
    if demos and take_demo:
        with st.expander("No photo at hand? Try a demo photo"):
            blocks.say("Drawn by the program, with coloured water in made-up chambers. "
                       "It begins the demo bed: nothing goes on the ward's record.")
            for n, demo in enumerate(demos):
                st.button(as_label(demo.title), key=f"demo-{key}-{n}", on_click=take_demo,
                          args=(demo,), width="stretch")
    with st.expander("Camera of this page: it helps you aim"):
        camera_block(f"camera-{key}", refuse, camera or Camera(
            lambda photos: take(photos[0], "camera"), words=f"Bring {what} into the picture."))

"""Several photos of the same cards: one more from beside, each shown small, one taken out again."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks, guard
from app.ui.camera.block import cards_camera
from app.ui.level.state import LevelState
from app.ui.photo_picker import pick_photo
from app.ui.photos_in_hand import MOST_IN_HAND
from app.ui.pictures import screen_copy
from app.ui.text import as_label
from vision.drawing.bedside import hanging_words
from vision.imaging.photo import Photo
from vision.level.overlay import draw_level_overlay
from vision.level.result import LevelReading

#: Width of a small picture in pixels; two stand side by side on a telephone.
_SMALL_WIDE_PX = 165


def one_more(state: LevelState) -> None:
    """Offer one more photo: open where the photos so far do not settle it, else folded away."""
    reading = state.reading
    if reading is None or state.way != "cards" or len(state.photos) >= MOST_IN_HAND:
        return
    if "photos-disagree" in reading.flags:
        return  # what was moved is to be photographed anew, not once more
    if reading.decision == "cannot tell" and not _in_vain(reading):
        with st.container(key=f"one-more-level-{state.key}"):
            blocks.step("One more photo, from beside the first")
            _picker(state)
    else:
        with st.expander("One more photo of the same cards: two are surer"):
            _picker(state)


def _in_vain(reading: LevelReading) -> bool:
    """A card that was not found has to be brought into the picture first."""
    return reading.status == "refused" and not reading.photos


def _picker(state: LevelState) -> None:
    blocks.say("Both cards whole in the picture again, nothing moved in between. Step aside by a "
               "quarter of your distance from the cards: a cord or a pole that is seen from two "
               "places shows the vertical in full.")
    if state.another_problem:
        blocks.notice("This photo cannot be added", [state.another_problem], stop=True)

    pick_photo(f"more-{state.key}-{bool(state.another_problem)}",
               lambda photo, _source: state.add(photo),
               state.refuse_another, what="both cards from beside", camera=cards_camera(state.add))


def strip(state: LevelState) -> None:
    """Each of several photos, small, with what it says by itself and the way to take it out."""
    reading = state.reading
    if reading is None or len(state.photos) < 2:
        return
    blocks.say(_rests_on(reading))
    with st.container(horizontal=True, key=f"level-photos-{state.key}"):
        for n, (photo, own) in enumerate(zip(state.photos, reading.photos, strict=True)):
            with st.container(width=_SMALL_WIDE_PX, key=f"level-photo-{n}-{state.key}"):
                words = alone(own.reading)
                small = _small(state, photo, own.reading)
                if small is not None:
                    st.image(small, width="stretch",
                             alt=f"Photo {n + 1} of {len(state.photos)} by itself: {words}")
                blocks.say(f"Photo {n + 1}: {words}")
                st.button(as_label(f"Take out photo {n + 1}"), width="stretch",
                          key=f"take-out-level-{n}-{state.key}", on_click=_take_out,
                          args=(state, photo.sha256))


def _take_out(state: LevelState, sha256: str) -> None:
    place = state.place_of(sha256)
    if place is not None:
        state.take_out(place)


def _rests_on(reading: LevelReading) -> str:
    """From which of several photos the level comes: one that told nothing has checked nothing."""
    given = len(reading.photos)
    if "photos-disagree" in reading.flags:
        return "Take out the photo that does not belong here, or take all of them anew."
    if reading.status != "read":
        return "Each by itself:"
    if reading.rests_on == 1:
        return (f"From photo {reading.drawn_on + 1} alone; nothing could be had from the "
                f"{'other' if given == 2 else 'others'}.")
    return (f"From {given} photos together." if reading.rests_on == given else
            f"From {reading.rests_on} of {given} photos together.")


def alone(reading: LevelReading) -> str:
    """What one photo says by itself."""
    if reading.offset_cm is None:
        return "no result"
    return f"{hanging_words(reading.offset_cm)} ({reading.interval_words} cm)"


def _small(state: LevelState, photo: Photo, own: LevelReading) -> bytes | None:
    if photo.sha256 not in state.small:
        picture, _ = guard.in_words(lambda: screen_copy(draw_level_overlay(photo, own)).jpeg)
        state.small[photo.sha256] = picture
    return state.small[photo.sha256]

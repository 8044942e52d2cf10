"""Several photos of one chamber: one more asked for, each shown small, one taken out again."""

from __future__ import annotations

import streamlit as st

from app.another_photo import another_photo, minutes_apart
from app.ui import blocks, guard
from app.ui.chamber import words
from app.ui.chamber.state import SMALL, ChamberState
from app.ui.chamber.steps import look_up_used
from app.ui.photo_picker import pick_photo
from app.ui.photos_in_hand import MOST_IN_HAND
from app.ui.pictures import ScreenCopy, screen_copy
from app.ui.text import as_label
from vision.imaging.photo import Photo
from vision.reading import PhotoReading
from vision.volume import overlay

#: Height of a small picture in pixels; two stand side by side on a telephone.
_SMALL_PX, _SMALL_WIDE_PX = 620, 165


def one_more(state: ChamberState, *, first: bool, folded: bool = True) -> None:
    """Offer one more photo: as the first thing where it is worth it, else folded away.

    ``first`` says which of the two places of the page this is; the second one may be
    ``folded`` away by the page itself.
    """
    reading = state.reading
    if reading is None or state.demo or len(state.photos) >= MOST_IN_HAND:
        return
    offer = another_photo(reading, state.agreement)
    if bool(offer.why) != first:
        return
    if first:
        with st.container(key="one-more"):
            blocks.step(f"One more photo, {offer.where}")
            blocks.say(f"{offer.why} Same chamber, nothing touched in between.")
            _picker(state)
    elif folded:
        with st.expander("One more photo of this chamber"):
            _picker(state)
    else:
        blocks.say("One more photo of this chamber, from another height:")
        _picker(state)


def _picker(state: ChamberState) -> None:
    if state.photo_problem:
        blocks.notice("This photo cannot be added", [state.photo_problem], stop=True)
    pick_photo(f"more-{state.key}-{state.answers}-{bool(state.photo_problem)}",
               lambda photo, _source: _add(state, photo), state.refuse_another)


def _add(state: ChamberState, photo: Photo) -> None:
    state.add_photo(photo)
    look_up_used(state)


def strip(state: ChamberState) -> None:
    """Each of several photos, small, with what it says by itself and the way to take it out."""
    if len(state.photos) < 2:
        return
    reading = state.reading
    said = reading.photos if reading is not None else ()
    odd = reading.agreement.odd if reading is not None and reading.agreement is not None else None
    with st.container(horizontal=True, key="photos-in-hand"):
        for n, photo in enumerate(state.photos):
            own = said[n] if n < len(said) else None
            with st.container(width=_SMALL_WIDE_PX, key=f"photo-in-hand-{n}"):
                value = _value(own)
                st.image(_small(state, photo, own).jpeg, width="stretch",
                         alt=f"Photo {n + 1} of {len(state.photos)} with its own reading: {value}")
                blocks.say(f"Photo {n + 1}: {value}"
                           + (". It stands apart from the others" if n == odd else ""))
                st.button(as_label(f"Take out photo {n + 1}"), width="stretch",
                          key=f"take-out-{n}-{state.key}-{state.answers}",
                          on_click=_take_out, args=(state, photo.sha256))
    _between_field(state)


def _take_out(state: ChamberState, sha256: str) -> None:
    place = state.place_of(sha256)
    if place is not None:
        state.take_out(place)
        look_up_used(state)


def _value(own: PhotoReading | None) -> str:
    if own is None:
        return "not read"
    reading = own.reading
    if reading.value is None:
        return words.SHORT[reading.status]
    if reading.interval is None:
        return f"{words.value_text(reading.value, reading)} {reading.unit}"
    low, high = (words.value_text(v, reading) for v in reading.interval)
    return f"{words.value_text(reading.value, reading)} {reading.unit} ({low} to {high})"


def _small(state: ChamberState, photo: Photo, own: PhotoReading | None) -> ScreenCopy:
    name = f"{SMALL}{photo.sha256}"
    if name not in state.copies:
        drawn = None
        if own is not None and own.reading.annotations:
            reading = own.reading
            drawn, _ = guard.in_words(
                lambda: overlay.draw_overlay(photo, reading, tall_px=_SMALL_PX))
        state.copies[name] = screen_copy(photo.working_rgb if drawn is None else drawn)
    return state.copies[name]


def between_question(state: ChamberState) -> str:
    """What has to be said about the time between the photos before anything is confirmed."""
    if len(state.photos) < 2 or state.reading is None:
        return ""
    if "photos-disagree" in state.reading.flags:
        return "The photos do not show the same level. What happened between them?"
    apart = minutes_apart(state.photos, [m.utc.timestamp() / 60 for m in state.came_in])
    if apart is None:
        return ""
    return f"{apart:.0f} minutes lie between the photos: fluid may have run. What happened?"


def _between_field(state: ChamberState) -> None:
    """The question about the time between the photos, and the field for its answer."""
    asked = between_question(state)
    if asked:
        blocks.notice(asked, ["Drained or run in, moved, another chamber? Take out the photo that "
                              "does not belong here, or say what happened."], stop=True)
        key = _between(state)
        if key not in st.session_state:
            state.between_first = state.between
        # Given as the field's own beginning: another photo asks anew, and must not take away
        # what was typed.
        st.text_input("Between the photos (goes on record)", state.between_first, key=key,
                      max_chars=200, autocomplete="off", on_change=_keep_between,
                      args=(state, key))


def _keep_between(state: ChamberState, key: str) -> None:
    state.between = str(st.session_state.get(key) or "")


def between_answer(state: ChamberState) -> str:
    """What was said about it so far."""
    return " ".join((st.session_state.get(_between(state), state.between) or "").split())


def _between(state: ChamberState) -> str:
    return f"between-{state.key}-{state.answers}"

"""The steps before the tool speaks: photo, scale, the person's own reading."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import streamlit as st

from app.records import ReadingDraft
from app.ui import blocks, guard, ledger, theme, used
from app.ui.camera import targets
from app.ui.camera.block import Camera
from app.ui.chamber.state import ChamberState
from app.ui.demo import DemoPhoto
from app.ui.number import TypedNumber, decimal_field, parse_decimal, typed_now, within
from app.ui.photo_picker import Source, pick_photo
from app.ui.pictures import screen_copy
from app.ui.scale_picker import pick_scale, summary
from app.ui.text import as_label
from vision.imaging.photo import Photo, load_photo


def photo_step(state: ChamberState) -> None:
    """Bring a photo in, or show the one in hand and the way to let it go."""
    if state.photo is None:
        blocks.step("Photo")
        if state.photo_problem:
            blocks.notice("This photo cannot be used", [state.photo_problem], stop=True)
        blocks.say("Hold the phone at the height of the liquid, straight in front, "
                   "with the whole scale in the picture.")
        take = partial(take_photo, state)
        pick_photo(str(state.generation), take, state.refuse_photo,
                   lambda demo: take_demo(state, demo), camera=chamber_camera(state, take))
        if state.scale is None:
            with st.expander("Choose the scale now: the camera then looks for its marks"):
                scale_choice(state)
        return
    used_before(state)
    if state.demo:
        blocks.notice("DEMO photo: drawn by the program, no patient.")


def chamber_camera(state: ChamberState, put: Callable[[Photo, Source], None]) -> Camera:
    """This page's camera; ``put`` takes the sharpest photo of a press, the others join it."""
    scale = state.scale

    def taken(photos: list[Photo]) -> None:
        put(photos[0], "camera")
        for photo in photos[1:]:
            state.add_photo(photo)
        look_up_used(state)
        state.photo_problem = ""  # two frames alike are one, which is nobody's fault

    return Camera(taken, None if scale is None else targets.chamber(scale),
                  "Bring the whole scale of the chamber into the picture." if scale else
                  "Fill the picture with the chamber. Once a scale is chosen, its marks are "
                  "looked for.")


def take_photo(state: ChamberState, photo: Photo, source: Source) -> None:
    """Put a photo in hand, and look at once whether it is on record already."""
    state.take_photo(photo, source)
    look_up_used(state)


def look_up_used(state: ChamberState) -> None:
    """Look which of the photos in hand are on record already, and with what."""
    state.used = used.said_of(state.photos, ReadingDraft.kind)


def used_before(state: ChamberState) -> None:
    """That the photo in hand is on record already."""
    used.notice(state.used, state.photos)


def let_go(state: ChamberState, drop: Callable[[], None] | None = None) -> None:
    """The way back: forget this photo and all that was read from it, by ``drop`` where given."""
    these = "these photos" if len(state.photos) > 1 else "this photo"
    st.button(as_label(f"Discard {these} and take another"), key=f"discard-{state.key}",
              on_click=drop or state.drop_photo, width="stretch")


def take_demo(state: ChamberState, demo: DemoPhoto) -> None:
    """Put a demo photo in hand, with the scale of its chamber: from here on this session tries
    the demo bed, and nothing of it comes near the ward's record."""
    photo, problem = guard.in_words(lambda: load_photo(demo.path.read_bytes()))
    if photo is None:
        state.refuse_photo(problem)
        return
    ledger.begin_demo()
    scale, problem = guard.in_words(demo.load_scale)
    state.take_photo(photo, "demo")
    state.choose_scale(scale, problem)


def plain_picture(state: ChamberState) -> None:
    """The photo as it came, with nothing drawn into it."""
    if state.photo is None:
        return
    if "plain" not in state.copies:
        state.copies["plain"] = screen_copy(state.photo.working_rgb)
    st.image(state.copies["plain"].jpeg, width="stretch",
             alt="The photo of the chamber, with nothing drawn into it",
             caption="The photo in hand, nothing drawn into it")


def scale_step(state: ChamberState) -> None:
    """Choose the scale that is printed on the chamber."""
    blocks.step("Scale")
    scale_choice(state)


def scale_choice(state: ChamberState) -> None:
    """The choice by itself, and what was chosen in one line."""
    pick_scale(f"chamber-{state.generation if state.demo else 0}", state.scale,
               state.choose_scale)
    if state.scale_problem:
        blocks.notice("This scale file cannot be used", [state.scale_problem], stop=True)
    elif state.scale is not None:
        blocks.say(summary(state.scale))


def other_scale(state: ChamberState) -> None:
    """The scale read against, and the way to another one."""
    if state.scale is not None:
        with st.expander(as_label(f"Read against scale {state.scale.name}; choose another")):
            scale_step(state)


def own_step(state: ChamberState, commit_own: Callable[..., None] | None = None,
             skip_own: Callable[..., None] | None = None) -> None:
    """The person reads first; the tool has not been asked yet.

    Given ways to go on stand for those of the state; without a ``skip_own`` of its own, a
    page that gives a ``commit_own`` offers no way to go without.
    """
    asks_tool = commit_own is None or skip_own is not None
    commit_own, skip_own = commit_own or state.commit_own, skip_own or state.skip_own
    scale = state.scale
    if scale is None:
        return
    blocks.step("Your reading first" if asks_tool else "Your reading")
    blocks.say("Read the chamber by eye: lowest point of the liquid surface, eyes at its height."
               + (" The tool is asked after you." if asks_tool else ""))
    key, low, high = f"own-{state.key}", *value_bounds(state)

    def commit() -> None:
        typed = typed_now(key, scale.unit, low, high)
        state.missing = () if typed.text else (
            "Type your reading, or choose to go without." if asks_tool else "Type your reading.",)
        if typed.text:
            commit_own(typed.text)

    with theme.enter_presses(key):
        decimal_field(f"Your reading in {scale.unit}", key, unit=scale.unit, lowest=low,
                      highest=high, placeholder="for example 23.5 or 23,5")
        if state.missing:
            blocks.notice("Not yet", state.missing, stop=True)
        st.button(as_label("This is my reading" + ("; show the tool's" if asks_tool else "")),
                  key=f"commit-{state.key}", type="primary", on_click=commit, width="stretch")
    if not asks_tool:
        return
    st.button("Go without my own reading", key=f"skip-{state.key}", on_click=skip_own,
              width="stretch",
              help="The record will say that the tool's reading was seen first.")


def value_bounds(state: ChamberState) -> tuple[float, float]:
    """What can be typed as a value: the marks, and a tenth of the capacity beyond them."""
    scale = state.scale
    assert scale is not None
    reach = 0.1 * scale.capacity
    return (max(0.0, scale.lowest_mark.value - reach),
            max(scale.capacity, scale.highest_mark.value) + reach)


def typed_value(text: str, state: ChamberState) -> TypedNumber:
    """A typed volume, within the bounds of the scale in hand."""
    low, high = value_bounds(state)
    unit = state.scale.unit if state.scale else ""
    return within(parse_decimal(text, unit), low, high, unit)

"""The steps of a level check: cards, photo, what the tool saw."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import streamlit as st

from app.exports.cards_pdf import cards_pdf
from app.ui import blocks, guard
from app.ui.camera.block import cards_camera
from app.ui.drawing import show_drawing
from app.ui.level.record import used_before
from app.ui.level.state import LevelState, Way
from app.ui.number import decimal_field, parse_decimal, typed_now
from app.ui.photo_picker import pick_photo
from app.ui.pictures import screen_copy
from app.ui.reading import read
from app.ui.tap import chosen_point, tap_point
from app.ui.text import as_label
from vision.drawing.bedside import Bedside, bedside_drawing, hanging_words
from vision.drawing.svg import Drawing
from vision.flags import describe
from vision.level.overlay import draw_level_overlay
from vision.level.read import read_level
from vision.level.result import LevelReading

_WAYS: dict[Way, str] = {
    "cards": "With both cards", "tap": "Without a landmark card: tap the landmark",
    "two-taps": "Tap both points; one of the cards is in the picture"}
#: Widest tolerance that a ward may mean by "level", cm (our choice).
_WIDEST_CM = 20.0
#: How much nearer to the phone one point can be than the other, cm (our choice).
_DEPTH_CM = (-300.0, 300.0)


def print_cards() -> None:
    """The two cards to print."""
    with st.expander("Print the cards"):
        blocks.say("Print at 100 %, measure both check rulers (100 mm), cut, and hang the zero "
                   "card flat on the panel. Paper near a patient follows the ward's cleaning "
                   "rules.")
        for paper, words in (("a4", "A4"), ("letter", "Letter")):
            st.download_button(as_label(f"Both cards on {words} (PDF)"), data=_pdf(paper),
                               file_name=f"cards-{paper}.pdf", mime="application/pdf",
                               key=f"level-pdf-{paper}", on_click="ignore", width="stretch")


@st.cache_data(max_entries=2, show_spinner=False)
def _pdf(paper: str) -> bytes:
    return cards_pdf("letter" if paper == "letter" else "a4")


def tolerance_field(state: LevelState, key: str = "level-tolerance") -> None:
    """The ward's tolerance for "level"; nothing is filled in beforehand."""
    if key not in st.session_state or state.first_tolerance is None:
        # A field that was not on the last page drawn begins with what it held before.
        state.first_tolerance = state.tolerance
    typed = decimal_field(
        "Your ward's tolerance for level in cm, if it has one", key, unit="cm", lowest=0.1,
        highest=_WIDEST_CM, first=state.first_tolerance, placeholder="for example 1",
        help="The result says 'level' only when the whole interval lies within it, and 'raise' "
             "or 'lower' only when the whole interval lies outside.")
    state.tolerance = typed.text if typed.value is not None else ""
    if state.reading is not None and state.reading.tolerance_cm != typed.value:
        # The tolerance decides about the words alone, so nothing is measured anew.
        _show(state, replace(state.reading, tolerance_cm=typed.value))


def photo_step(state: LevelState) -> None:
    """Bring a photo in, and say how the landmark is shown in it."""
    blocks.step("Photo of both points")
    tolerance_field(state)
    if state.problem:
        blocks.notice("This photo cannot be used", [state.problem], stop=True)
    if state.photo is None:
        blocks.say("Zero card on the zero reference, the landmark card's tip at the landmark that "
                   "the order names; pole and a hanging cord in the picture. Hold the phone at the "
                   "height of the zero reference.")
        _first_photo(state)
        return
    with st.expander("Begin anew with another photo"):
        _first_photo(state)
    used_before(state)
    if len(state.photos) == 1:  # several are put together by both cards in each
        _way(state)
    measure_due(state)


def _way(state: LevelState) -> None:
    """How the landmark is shown; without its card, the taps."""
    chosen = st.radio("How is the landmark shown?", list(_WAYS), key=f"way-{state.key}",
                      format_func=lambda way: as_label(_WAYS[way]))
    if chosen != state.way:
        state.way, state.reading, state.picture = chosen, None, None
    if state.way != "cards":
        _tapped(state)


def _first_photo(state: LevelState) -> None:
    pick_photo(f"{state.turn}-{bool(state.problem)}", lambda photo, _source: state.take(photo),
               state.refuse, what="both points", camera=cards_camera(state.take))


def _tapped(state: LevelState) -> None:
    """Tap the landmark (and the zero reference), say the depth, then measure on a press."""
    photo, both = _photo(state), state.way == "two-taps"
    if both:
        blocks.say("First the zero reference:")
        tap_point(photo, f"zero-{state.key}", "the zero reference")
        blocks.say("Then the landmark that the order names:")
    tap_point(photo, f"landmark-{state.key}", "the landmark")
    depth_key = f"depth-{state.key}"
    depth = decimal_field("How many cm nearer to the phone is the landmark than the zero "
                          "reference?",
                          depth_key, unit="cm", lowest=_DEPTH_CM[0], highest=_DEPTH_CM[1],
                          help="Square to the wall or the bed; with a minus when it lies further "
                               "away. Left empty, the answer is less sure.")
    point = chosen_point(photo, f"landmark-{state.key}")
    zero = chosen_point(photo, f"zero-{state.key}") if both else None
    if state.measured != (point, zero, depth.problem or depth.text):
        # A cross that was moved, or another depth, is not what was measured.
        state.reading, state.picture = None, None
    if point is None or (both and zero is None):
        return

    def pressed() -> None:
        typed = typed_now(depth_key, "cm", *_DEPTH_CM)
        if typed.problem:
            return  # the field says what is wrong with it
        deep = None if typed.value is None else 10 * typed.value
        state.measured, state.reading = (point, zero, typed.text), None
        state.pending = lambda: read(
            read_level, photo, landmark_px=point, zero_px=zero, depth_difference_mm=deep)

    st.button("Measure", key=f"measure-{state.key}", on_click=pressed, width="stretch")


def _photo(state: LevelState):  # type: ignore[no-untyped-def]
    assert state.photo is not None
    return state.photo


def measure_due(state: LevelState) -> None:
    """Measure what is in hand and was not measured yet: by both cards in every photo, or as a
    press asked for.

    Always drawn, and never from a press's own callback: what stands there while it is waited for
    would push all that follows to another place, and what was typed there would be lost.
    """
    place, photos = st.container(key=f"measuring-{state.key}"), state.photos
    how = state.pending
    if how is None and photos and state.way == "cards" and state.reading is None \
            and not state.problem:
        def how() -> LevelReading:
            return read(read_level, photos[0] if len(photos) == 1 else photos)
    if how is not None:
        with place:
            _measure(state, how)
        state.pending = None


def _measure(state: LevelState, how: Callable[[], LevelReading]) -> None:
    """Measure in the photos in hand, and draw what was seen."""
    with st.spinner("Measuring" + (" the photos together" if len(state.photos) > 1 else "")):
        reading, problem = guard.in_words(how)
    state.reading, state.problem, state.picture = reading, problem, None
    if reading is None:
        return
    _show(state, replace(reading, tolerance_cm=parse_decimal(state.tolerance).value))


def _show(state: LevelState, reading: LevelReading) -> None:
    """Keep a reading and the picture that carries its sentence."""
    state.reading = reading
    photo = state.shown
    assert photo is not None
    state.picture, _ = guard.in_words(lambda: screen_copy(draw_level_overlay(photo, reading)).jpeg)


def result_step(state: LevelState) -> None:
    """What the photo says, in words, in numbers and drawn."""
    reading = state.reading
    if reading is None:
        return
    blocks.step("What the photos say" if len(state.photos) > 1 else "What the photo says")
    blocks.notice("Not a record" if reading.status == "read" else "No result", [
        reading.sentence, *(r for r in reading.reasons if r not in reading.sentence),
        *_flags(reading), reading.coach], stop=reading.status != "read")
    if state.picture is not None:
        st.image(state.picture, width="stretch", caption="What the tool saw",
                 alt="The photo with the cards, the plumb lines and the height between them")
    if reading.offset_cm is None or reading.interval_cm is None:
        return
    show_drawing(_drawn(reading.offset_cm, reading.interval_cm))
    with st.expander("Where the doubt comes from"):
        blocks.say(f"The vertical was taken from: {', '.join(reading.gravity_from)}.")
        terms = sorted(reading.budget, key=lambda t: -t.standard_uncertainty)
        blocks.table(("Part", "cm", "Why"), [
            (t.term, f"{t.standard_uncertainty:.2f}", t.note) for t in terms], numbers=(1,))


def _drawn(offset_cm: float, interval_cm: tuple[float, float]) -> Drawing:
    """The zero reference over or under the landmark of a patient who lies at 30 degrees."""
    low, high = (f"{v:+.1f}".replace("-", "\N{MINUS SIGN}") for v in interval_cm)
    state = hanging_words(offset_cm)
    return bedside_drawing(Bedside(
        offset_cm=offset_cm, interval_cm=interval_cm, head=f"From the photo: {state}",
        captions=(f"95 % interval {low} to {high} cm", "bed and patient only drawn"),
        title=f"The zero reference {state}, 95 % interval {low} to {high} cm. Heights to scale; "
              "bed and patient are only drawn."))


def _flags(reading: LevelReading) -> list[str]:
    said = " ".join(reading.reasons)
    return [f"{describe(f).short}. {describe(f).advice}".strip() for f in reading.flags
            if describe(f).short not in said]

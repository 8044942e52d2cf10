"""The tool's reading beside the person's, the picture, the reasons, the budget."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks, guard, theme
from app.ui.chamber import words
from app.ui.chamber.state import DRAWN, ChamberState
from app.ui.chamber.steps import plain_picture
from app.ui.number import decimal_field, parse_decimal, show_number
from app.ui.pictures import ScreenCopy, band_around, screen_copy
from app.ui.reading import read
from app.ui.tap import chosen_point, tap_point
from app.ui.text import as_label
from vision.budget import combined_standard_uncertainty
from vision.imaging.photo import Photo
from vision.reading import VolumeReading
from vision.volume import overlay
from vision.volume import read as volume

#: The three views of what the tool saw, from near to far.
SURFACE, CHAMBER, WHOLE = DRAWN
MACHINE = "Machine reading, not a record"


def ask_the_tool(state: ChamberState) -> None:
    """Read the photo in hand, once; only after the person's own turn."""
    # Always drawn, so that what follows keeps its place on the screen: a run that is
    # cut short by a tap would else leave old fields beside the new ones.
    place = st.container(key="asking")
    if not state.may_read or state.reading is not None or state.reading_problem:
        return
    photos, scale, turn = state.photos, state.scale, state.turn
    assert photos and scale is not None
    photo = photos[0] if len(photos) == 1 else photos
    with place, st.spinner("Reading the photo" + ("s together" if len(photos) > 1 else "")):
        reading, problem = guard.in_words(
            lambda: read(volume.read_volume, photo, scale, near=state.near,
                         surface=state.surface, number=state.number))
        state.accept(turn, reading, problem)


def value_cards(state: ChamberState, *, compact: bool = False) -> None:
    """Your reading, the tool's, and their difference, each under its own words; ``compact``
    says the difference in a line."""
    reading = state.reading
    if reading is None:
        return
    unit, own = reading.unit, float(state.own) if state.own else None
    said = state.agreement.sentence if state.agreement is not None else ""
    far = state.agreement is not None and state.agreement.second_look
    differ = state.agreement is not None and state.agreement.verdict != "agree"
    line = ""
    parts = [blocks.card(
        "Your reading", state.own or "none", unit if state.own else "",
        [_how_read(state)])]
    if reading.value is not None:
        together = _rests_on(reading) if len(state.photos) > 1 else ""
        parts.append(blocks.card(
            MACHINE, words.value_text(reading.value, reading), unit,
            [words.interval_text(reading), together], "machine"))
        if own is not None:
            apart = abs(own - reading.value) / reading.division
            if compact:
                line = said if differ else f"The two agree: {apart:.1f} divisions apart."
        if own is not None and not compact:
            parts.append(blocks.card(
                "Difference, yours minus the tool's",
                show_number(own - reading.value, reading.division, signed=True), unit,
                [said] if far else [f"{apart:.1f} divisions", said], "difference"))
    else:
        parts.append(blocks.card(MACHINE, "no value", "",
                                 [words.head(reading), said], "machine"))
    blocks.cards(*parts)
    if line:
        blocks.status_line(line)


def close_up(state: ChamberState) -> None:
    """The surface as the tool saw it, alone."""
    if state.reading is None or state.reading.question is not None or not _draw(state):
        return
    view = next(view for view in DRAWN if view in state.copies)
    with st.container(key="close-up"):
        st.image(state.copies[view].jpeg, width="stretch",
                 alt="The surface with the marks and the reading line that the tool found")


def _rests_on(reading: VolumeReading) -> str:
    """From which of several photos the value comes: one that told nothing has checked nothing."""
    counted, given = reading.rests_on, len(reading.photos)
    if counted == 1:
        return f"From photo {reading.drawn_on + 1} alone; nothing could be had from the " + (
            "other" if given == 2 else "others")
    return f"From {counted} photos together" if counted == given else (
        f"From {counted} of {given} photos together")


def _how_read(state: ChamberState) -> str:
    if not state.own:
        return "You chose to go without; the record will say so"
    if state.seen_before:
        return "Typed after the tool's reading of an earlier photo had been shown"
    return "Typed before the tool's was shown"


def refusal(state: ChamberState) -> None:
    """No value: why, and what to change in the photo."""
    reading = state.reading
    if state.reading_problem:
        blocks.notice("The tool gives no reading", [state.reading_problem], stop=True)
    elif reading is not None and reading.status != "read":
        blocks.notice(words.head(reading),
                      [*words.reasons_and_advice(reading), words.candidates_text(reading)],
                      stop=True)


def explanation(state: ChamberState) -> None:
    """Remarks in words, what an eye would take, and the budget."""
    reading = state.reading
    if reading is None:
        return
    points = words.reasons_and_advice(reading)
    if reading.status == "read" and points:
        blocks.notice("Please note", points)
    views = [t for t in (words.naive_text(reading), words.sight_text(reading)) if t]
    if views:
        blocks.notice("Where the camera stood", views)
    if reading.budget:
        _budget(reading)


def _budget(reading: VolumeReading) -> None:
    total = combined_standard_uncertainty(reading.budget)
    with st.expander("Where the uncertainty comes from"):
        rows = [(t.term, f"{t.standard_uncertainty:.3f}", t.note) for t in reading.budget]
        rows.append(("all together", f"{total:.3f}", "root of the sum of squares"))
        blocks.table(("Term", f"Standard uncertainty, {reading.unit}", "From"), rows, (1,))


def pictures(state: ChamberState) -> None:
    """What the tool saw, drawn on the photo: close-up and whole."""
    if state.reading is not None and state.reading.question is not None:
        return  # the picture to tap, or the photos side by side, stand in its place
    if not _draw(state):
        plain_picture(state)
        return
    views = [view for view in (SURFACE, CHAMBER, WHOLE) if view in state.copies]
    view = st.segmented_control("Picture", views, default=views[0], required=True,
                                key=f"view-{state.key}-{state.answers}", width="stretch",
                                format_func=as_label)
    copy = state.copies[view]
    st.image(copy.jpeg, width="stretch", caption="What the tool saw: machine drawing, no record",
             alt="The photo with the marks, the surface and the reading line that the tool found")


def _draw(state: ChamberState) -> bool:
    """Have the views of the drawn photo ready; False where there is nothing to draw."""
    photo, reading = state.shown, state.reading
    if photo is None or reading is None or not reading.annotations or state.undrawable:
        return False
    if WHOLE not in state.copies:
        copies, _problem = guard.in_words(lambda: _drawn(photo, reading))
        state.undrawable = copies is None
        state.copies.update(copies or {})
    return not state.undrawable


def _drawn(photo: Photo, reading: VolumeReading) -> dict[str, ScreenCopy]:
    """The drawn photo from near to far, as far as there is something to go near to."""
    whole = overlay.draw_overlay(photo, reading, crop=False)
    chamber = overlay.draw_overlay(photo, reading)
    copies = {CHAMBER: screen_copy(chamber), WHOLE: screen_copy(whole)}
    if reading.surface_px is not None:
        _left, top, _right, bottom = overlay.chamber_box(photo, reading)
        share = (reading.surface_px[1] - top) / max(1, bottom - top)
        if 0 <= share <= 1:
            copies[SURFACE] = screen_copy(chamber, band_around(chamber, share))
    return copies


def question(state: ChamberState) -> None:
    """What the tool asks of the person, answered by a tap or by numbers."""
    photo, reading = state.shown, state.reading
    if photo is None or reading is None or reading.question is None \
            or reading.question.kind == "what-happened":  # asked where the photos stand
        return
    asked, key = reading.question, f"{state.key}-{state.answers}"
    blocks.notice("The tool asks you", [asked.sentence])
    by_number = asked.kind == "number"
    what = {"number": "a mark whose value you know", "which-chamber": "the chamber that is meant",
            "which-surface": "the liquid surface"}[asked.kind]
    # A chamber that is to be pointed out among others needs the whole photo.
    box = overlay.chamber_box(photo, reading) if asked.kind != "which-chamber" else None
    tap_point(photo, key, what, box)

    def answer() -> None:
        # What was typed last arrives together with the press, so it is looked up here.
        point = chosen_point(photo, key, box)
        value = parse_decimal(st.session_state.get(f"mark-{key}") or "", reading.unit).value
        if point is None or (by_number and value is None):
            state.unanswered = f"Tap {what}" + (" and type its value." if by_number else ".")
        elif by_number and value is not None:
            state.answer(number=(value, point))
        elif asked.kind == "which-chamber":
            state.answer(near=point)  # where on the chamber was tapped says nothing of the surface
        else:
            state.answer(surface=point)

    with theme.enter_presses(f"mark-{key}"):
        if by_number:
            decimal_field(f"Value of that mark in {reading.unit}", f"mark-{key}",
                          unit=reading.unit)
        st.button("Read again with this", key=f"again-{key}", on_click=answer, width="stretch",
                  type="primary")
    if state.unanswered:
        blocks.notice("Not read again yet", [state.unanswered], stop=True)

"""Step 1: the level, from a photo of both cards or by the ward's usual method."""

from __future__ import annotations

import streamlit as st

from app.records import LevelDraft
from app.ui import blocks
from app.ui.level.confirm import claimed
from app.ui.level.steps import measure, tolerance_field
from app.ui.photo_picker import pick_photo
from app.ui.reading import read
from app.ui.round.act import confirm_button, initials_field, say_what_is_missing
from app.ui.round.state import RoundState
from app.ui.round.view import View
from vision.flags import describe
from vision.imaging.photo import Photo
from vision.level.read import read_level


def level_step(state: RoundState, view: View) -> None:
    """Draw the step."""
    landmark = (view.order.payload.get("landmark") or "") if view.order is not None else ""
    blocks.say(f"Zero reference against the landmark: {landmark}." if landmark else
               "Zero reference against the landmark that the order names.")
    if view.level.last is not None:
        blocks.say(view.level.sentence)
    hand = state.level
    if hand.reading is not None:
        _measured(state, view)
    else:
        with st.expander("With a photo of both cards", key=f"round-box-level-{state.turn}"):
            if hand.problem:
                blocks.notice("This photo cannot be used", [hand.problem], stop=True)
            blocks.say("Zero card at the zero reference, landmark card's tip at the landmark, both "
                       "in one photo, taken from their height.")
            blocks.say("Without the landmark card: use the page Level. What you confirm there "
                       "counts here.")
            pick_photo(f"round-level-{hand.turn}-{bool(hand.problem)}",
                       lambda photo, _source: _take(state, photo), hand.refuse,
                       what="both cards")
    blocks.say("By your usual method: you have levelled it and found it level.")
    initials_field(state)
    say_what_is_missing(state)
    confirm_button(state, view, "Level: checked by the usual method",
                   lambda: (LevelDraft.usual_method(landmark=landmark or None), None),
                   "Level check by the usual method is on record.", name="usual",
                   first=claimed(hand.reading)[0] is None)


def _measured(state: RoundState, view: View) -> None:
    hand = state.level
    tolerance_field(hand, "round-level-tolerance")
    reading, photo = hand.reading, hand.photo
    assert reading is not None and photo is not None
    blocks.notice("The photo says, not a record", [
        reading.sentence, *(r for r in reading.reasons if r not in reading.sentence),
        *(f"{describe(f).short}. {describe(f).advice}".strip() for f in reading.flags),
        reading.coach], stop=reading.status != "read")
    if hand.picture is not None:
        st.image(hand.picture, width="stretch", caption="What the tool saw: no record",
                 alt="The photo with the cards, the vertical and the height between them")
    st.button("Take another photo", key=f"round-relevel-{state.turn}", on_click=hand.forget,
              width="stretch")
    digits, claim = claimed(reading)
    if digits is None:
        if claim:
            blocks.say(claim)
        return
    blocks.say("If you hang it anew, take another photo afterwards. Confirm only what it is now.")
    confirm_button(state, view, f"Confirm: {claim}",
                   lambda: (LevelDraft.of(reading.as_json(), photo_sha256=photo.sha256), digits),
                   "The level check is on record.", name="photo")


def _take(state: RoundState, photo: Photo) -> None:
    """Measure the photo that came in."""
    state.level.take(photo)
    measure(state.level, lambda: read(read_level, photo))

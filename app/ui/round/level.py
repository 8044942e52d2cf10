"""The level: found by the usual method, or with a photo of both cards; you first, then the tool."""

from __future__ import annotations

from dataclasses import dataclass, replace

import streamlit as st

from app.entering import Proposed
from app.records import LevelDraft, Moment
from app.records.errors import ConfirmError
from app.ui import blocks
from app.ui.camera.block import cards_camera
from app.ui.level import several
from app.ui.level.confirm import claimed
from app.ui.level.record import draft_of, used_before
from app.ui.level.steps import measure_due, tolerance_field
from app.ui.photo_picker import pick_photo
from app.ui.round.due import level_due
from app.ui.round.rows import NOT_NOW, choose, chosen, left_out, row, why_field
from app.ui.round.state import RoundState
from app.ui.round.view import View
from app.ui.text import as_label
from vision.flags import describe
from vision.imaging.photo import Photo

FOUND_LEVEL, WITH_PHOTO = "Found level", "With a photo"
_EYE = ("Level", "Too high", "Too low", "Cannot tell")


@dataclass(frozen=True)
class LevelFound:
    """A level that was found off before it was hung anew: what goes on record, and when."""

    proposed: Proposed
    words: str
    at: Moment


def level_row(state: RoundState, view: View) -> None:
    """Draw the row."""
    with row(level_due(view), "level", state.key):
        for found in state.level_found:
            blocks.notice(f"Found at {found.at.local:%H:%M}: it {found.words}", [
                "Hang it anew, then check it again. Both go on record."], stop=True)
        how = choose(state, "level", _at_which_landmark(view), (FOUND_LEVEL, WITH_PHOTO, NOT_NOW))
        if how == WITH_PHOTO:
            _photo(state)
        elif how == FOUND_LEVEL:
            blocks.say("You levelled it by your usual method and found it level.")
        elif how == NOT_NOW:
            why_field(state, "level")


def level_proposed(state: RoundState, view: View) -> list[Proposed]:
    """What of the level goes on record.  Raises ConfirmError while it is due and open."""
    found = [f.proposed for f in state.level_found]
    how = chosen(state, "level")
    if how is None:
        if found:
            raise ConfirmError("It was found off: hang it anew and check the level again.")
        if level_due(view).due:
            raise ConfirmError("Say how the level is, or why it is not checked now.")
        return []
    if how == NOT_NOW:
        return [*found, left_out(state, "level")]
    if how == FOUND_LEVEL:
        return [*found, Proposed(LevelDraft.usual_method(landmark=_landmark(view) or None),
                                 {"key": f"{state.form}-level"})]
    digits, words = claimed(state.level.reading)
    if digits is None:
        raise ConfirmError("The photo does not settle the level. Take another one, or check it by "
                           "your usual method.")
    if _off(state):
        raise ConfirmError(f"The photo says that it {words}. Hang it anew and check it again.")
    return [*found, _of_photo(state, digits)]


def _at_which_landmark(view: View) -> str:
    if view.order is None:
        return "Level at the landmark (no order is on record)"
    landmark = _landmark(view)
    return "Level at the landmark of the order" + (f" ({landmark})" if landmark else "")


def _landmark(view: View) -> str:
    return str(view.order.payload.get("landmark") or "") if view.order is not None else ""


def _photo(state: RoundState) -> None:
    hand = state.level
    if hand.photo is None:
        own = choose(state, f"level-own-{len(state.level_found)}",
                     "You first: how does it hang?", _EYE)
        if own is None:
            return
        if hand.problem:
            blocks.notice("This photo cannot be used", [hand.problem], stop=True)
        blocks.say("Zero card at the zero reference, landmark card's tip at the landmark, both "
                   "in one photo, taken from their height.")
        pick_photo(f"level-{state.key}-{hand.turn}-{bool(hand.problem)}",
                   lambda photo, _source: _take(state, photo, own), hand.refuse, what="both cards",
                   camera=cards_camera(lambda photo: _take(state, photo, own)))
        return
    tolerance_field(hand, f"tolerance-{state.key}")
    measure_due(hand)
    reading = hand.reading
    if reading is None:
        blocks.notice("The photo cannot be measured", [hand.problem], stop=True)
    else:
        used_before(hand)
        says = "The photos together say" if len(hand.photos) > 1 else "The photo says"
        blocks.notice(f"{says}, not a record", [
            f"You saw: {state.level_own}.", reading.sentence,
            *(r for r in reading.reasons if r not in reading.sentence),
            *(describe(f).sentence for f in reading.flags), reading.coach],
            stop=reading.status != "read")
        if hand.picture is not None:
            st.image(hand.picture, width="stretch", caption="What the tool saw: no record",
                     alt="The photo with the cards, the vertical and the height between them")
        several.strip(hand)
        several.one_more(hand)
        digits, words = claimed(reading)
        if digits is None:
            blocks.say(words)
        elif _off(state):
            blocks.say("Hang it anew, then check it again.")
            st.button("I have hung it anew: check again", key=f"anew-{state.key}-{hand.turn}",
                      on_click=_hung_anew, args=(state, hand.turn), width="stretch",
                      type="primary")
        else:
            blocks.say(f"You confirm that it {words}.")
    again = "Take all of them anew" if len(hand.photos) > 1 else "Take another photo of the cards"
    st.button(as_label(again), key=f"relevel-{state.key}-{hand.turn}", on_click=hand.forget,
              width="stretch")


def _off(state: RoundState) -> bool:
    return state.level.reading is not None and state.level.reading.decision in ("raise", "lower")


def _take(state: RoundState, photo: Photo, own: str) -> None:
    """A photo that came in; what the person saw before stands."""
    state.level.take(photo)
    state.level_own = own


def _hung_anew(state: RoundState, turn: int) -> None:
    """What was found goes on record as found; the level is to be checked once more."""
    digits, words = claimed(state.level.reading)
    if digits is None or state.level.turn != turn:
        return
    now = Moment.now()
    found = _of_photo(state, digits)
    state.level_found += (LevelFound(
        replace(found, more={**found.more, "happened_at": now}), words, now),)
    state.level.forget()
    st.session_state[f"level-{state.key}"] = None


def _of_photo(state: RoundState, digits: str) -> Proposed:
    key = f"{state.form}-level-{len(state.level_found)}"
    draft = draft_of(state.level, state.bed, key)
    draft = replace(draft, payload={**draft.payload, "seen_first": state.level_own})
    return Proposed(draft, {"confirmed_value": digits, "key": key})

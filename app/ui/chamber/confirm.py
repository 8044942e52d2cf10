"""The last step: choose the value, state the four things, confirm."""

from __future__ import annotations

import streamlit as st

from app.entering import Proposed
from app.records import ClockDoubtError, Entry
from app.records.errors import ConfirmError
from app.ui import blocks, doubtful, guard
from app.ui.chamber import record, several
from app.ui.chamber.state import ChamberState, Recorded
from app.ui.chamber.statements import attested, statements_field
from app.ui.chamber.steps import typed_value
from app.ui.chamber.value import value_fields, value_now
from app.ui.confirm import Signature, confirm_block
from app.ui.demo import DEMO_BED
from app.ui.scale_picker import keep_own

#: A value further than this from every reading on the page is asked about once more.
FAR_DIVISIONS = 1.0


def confirm_step(state: ChamberState, bed: str = "") -> str:
    """Draw the step; returns the bed code typed so far.  A given ``bed`` is not asked for."""
    scale = state.scale
    if scale is None:
        return ""
    read = state.reading is not None and state.reading.value is not None
    blocks.step("Confirm" if read else "Or confirm your own reading alone")
    blocks.say("Nothing is on record yet. What you confirm here is your reading, not the tool's.")
    if state.taken_in is not None:
        blocks.say(f"Time on record: {state.taken_in.local:%H:%M}, when the "
                   f"{'first ' if len(state.photos) > 1 else ''}photo came in.")
    second_look_field(state)
    value_fields(state)
    statements_field(state.key)
    turn = state.turn

    def pressed(who: Signature) -> None:
        # A second tap, or a tap that was on its way when a photo changed, meets
        # another turn and does nothing.
        if state.photos and turn == state.turn:
            _record(state, who)

    keep_field(state)
    if state.clock_doubt:
        st.checkbox("I have checked date and time of this machine: they are right",
                    key=f"clock-{state.key}", wrap=True)
    doubtful.answer_field(state.key)
    return confirm_block(state.key, pressed, problems=state.missing,
                         fixed_bed=DEMO_BED if state.demo else bed)


def keep_field(state: ChamberState) -> None:
    """Whether a crop of the chamber is to be kept."""
    if state.reading is not None and state.reading.annotations:
        st.checkbox("Keep a small picture of the chamber with the entry (else the photo is "
                    "dropped)", key=f"keep-{state.key}", wrap=True)


def second_look_field(state: ChamberState) -> None:
    """Two readings too far apart: neither is confirmed before the chamber was looked at again."""
    if state.agreement is None or not state.agreement.second_look:
        return
    blocks.notice("You and the tool do not agree", [
        state.agreement.sentence, "One of the two is wrong. Look at the chamber with your eyes at "
        "the height of the surface, and at the line that the tool drew."], stop=True)
    st.text_input("Second look: what did you find? (goes on record)", key=_looked(state),
                  max_chars=200, autocomplete="off")


def _looked(state: ChamberState) -> str:
    return f"looked-{state.key}-{state.answers}"


def reading_problems(state: ChamberState) -> list[str]:
    """What is missing before the value in the field can be confirmed, each in a sentence."""
    problems, typed = [], typed_value(value_now(state), state)
    if typed.value is None:
        problems.append(typed.problem or "Take over or type the value to confirm.")
    _, problem = guard.in_words(lambda: attested(state.key))
    problems += [problem] if problem else []
    if state.agreement is not None and state.agreement.second_look and not second_look(state):
        problems.append("You and the tool do not agree. Look at the chamber again and say what you "
                        "found, in the field above the value.")
    if several.between_question(state) and not several.between_answer(state):
        problems.append(f"{several.between_question(state)} Say it below the photos, or "
                        "take out the photo that does not belong here.")
    if not problems and _far(state, typed.value) and state.far_accepted != typed.text:
        state.far_accepted = typed.text
        problems.append(f"{typed.text} is more than one division from every reading on this "
                        "page. Check it; press the button again to confirm it as it is.")
    return problems


def second_look(state: ChamberState) -> str:
    """What a second look at the chamber found, as typed so far."""
    return " ".join((st.session_state.get(_looked(state)) or "").split())


def proposed_now(state: ChamberState, bed: str) -> Proposed:
    """The reading as the fields stand, to be confirmed."""
    said, note = attested(state.key)
    return record.proposed(
        state, typed_value(value_now(state), state).text, bed, said, note,
        second_look=second_look(state), between=several.between_answer(state),
        keep_picture=bool(st.session_state.get(f"keep-{state.key}")))


def _record(state: ChamberState, who: Signature) -> None:
    """The confirming act itself, run in the button's callback."""
    problems = [*reading_problems(state), *who.problems]
    state.missing = tuple(problems)
    if problems:
        return
    entry, problem = guard.in_words(lambda: _write(state, who))
    if entry is None:
        state.missing = (problem,)
        return
    keep_own(entry.bed, state.scale)
    kept = " A small picture of the chamber was kept." if "picture_sha256" in entry.payload else ""
    state.finish(Recorded(
        number=entry.number, bed=str(entry.bed), demo=state.demo,
        sentence=f"{entry.confirmed_value} {entry.unit} for bed {entry.bed}, confirmed by "
                 f"{entry.initials} at {entry.recorded.local:%H:%M}.{kept}"))


def _write(state: ChamberState, who: Signature) -> Entry:
    if who.by is None or who.bed is None:
        raise ConfirmError("Bed code and initials are needed.")
    reading = proposed_now(state, who.bed)
    try:
        return doubtful.put_all(
            state.key, str(reading.more["confirmed_value"]), [reading], compare=not state.demo,
            by=who.by, bed=who.bed, identity=who.identity,
            clock_checked=bool(st.session_state.get(f"clock-{state.key}")))[0]
    except ClockDoubtError:
        state.clock_doubt = True
        raise


def _far(state: ChamberState, value: float | None) -> bool:
    readings = [float(state.own)] if state.own else []
    if state.reading is not None and state.reading.value is not None:
        readings.append(state.reading.value)
    if not readings or value is None or state.scale is None:
        return False
    division = state.scale.division_at(value)
    return min(abs(value - r) for r in readings) > FAR_DIVISIONS * division * 1.0001

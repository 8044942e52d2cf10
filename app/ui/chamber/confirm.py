"""The last step: choose the value, state the four things, confirm."""

from __future__ import annotations

import streamlit as st

from app.records import Attestations, ClockDoubtError, Entry
from app.ui import blocks, doubtful, guard
from app.ui.chamber import record, several
from app.ui.chamber.state import ChamberState, Recorded
from app.ui.chamber.steps import typed_value
from app.ui.chamber.value import value_fields, value_now
from app.ui.confirm import Signature, confirm_block
from app.ui.demo import DEMO_BED
from app.ui.text import as_label

STATEMENTS = {
    "outlet_closed": "The outlet was closed while the fluid was collecting",
    "hanging_plumb": "The chamber hangs plumb and still",
    "patient_undisturbed": "The patient was undisturbed (no coughing, turning or suction)",
    "right_chamber_and_scale": "It is the right chamber, and the right scale is chosen",
}

#: A value further than this from every reading on the page is asked about once more.
FAR_DIVISIONS = 1.0


def confirm_step(state: ChamberState, bed: str = "") -> str:
    """Draw the step; returns the bed code typed so far.  A given ``bed`` is not asked for."""
    scale = state.scale
    if scale is None:
        return ""
    read = state.reading is not None and state.reading.value is not None
    blocks.step("4. Confirm" if read else "4. Or confirm your own reading alone")
    blocks.say("Nothing is on record yet. What you confirm here is your reading, not the tool's.")
    if state.taken_in is not None:
        blocks.say(f"Time on record: {state.taken_in.local:%H:%M}, when the photo came in.")
    _second_look(state)
    value_fields(state)
    _statements(state)
    turn = state.turn

    def pressed(who: Signature) -> None:
        # A second tap, or a tap that was on its way when a photo changed, meets
        # another turn and does nothing.
        if state.photos and turn == state.turn:
            _record(state, who)

    if state.reading is not None and state.reading.annotations:
        st.checkbox("Keep a small picture of the chamber with the entry (else the photo is "
                    "dropped)", key=f"keep-{state.key}", wrap=True)
    if state.clock_doubt:
        st.checkbox("I have checked date and time of this machine: they are right",
                    key=f"clock-{state.key}", wrap=True)
    doubtful.answer_field(state.key)
    return confirm_block(state.key, pressed, problems=state.missing,
                         fixed_bed=DEMO_BED if state.demo else bed)


def _second_look(state: ChamberState) -> None:
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


def _statements(state: ChamberState) -> None:
    blocks.say("Answer for this reading:")
    for name, text in STATEMENTS.items():
        st.segmented_control(as_label(text), ("Yes", "No"), key=f"{name}-{state.key}",
                             width="stretch")
    answers = _answers(state)
    if "No" in answers.values():
        blocks.say("A reading with a No can go on record with a note, but an hourly output "
                   "must not rest on it.")
        st.text_input("Note: what was so", key=f"note-{state.key}", max_chars=200,
                      autocomplete="off")


def _answers(state: ChamberState) -> dict[str, str | None]:
    return {name: st.session_state.get(f"{name}-{state.key}") for name in STATEMENTS}


def _record(state: ChamberState, who: Signature) -> None:
    """The confirming act itself, run in the button's callback."""
    answers, problems = _answers(state), list(who.problems)
    typed = typed_value(value_now(state), state)
    if typed.value is None:
        problems.insert(0, typed.problem or "Take over or type the value to confirm.")
    if None in answers.values():
        problems.append("Answer all four statements with Yes or No.")
    looked = " ".join((st.session_state.get(_looked(state)) or "").split())
    if state.agreement is not None and state.agreement.second_look and not looked:
        problems.append("You and the tool do not agree. Look at the chamber again and say what you "
                        "found, in the field above the value.")
    between = several.between_answer(state)
    if several.between_question(state) and not between:
        problems.append(f"{several.between_question(state)} Say it below the photos, or "
                        "take out the photo that does not belong here.")
    if not problems and _far(state, typed.value) and state.far_accepted != typed.text:
        state.far_accepted = typed.text
        problems.append(f"{typed.text} is more than one division from every reading on this "
                        "page. Check it; press the button again to confirm it as it is.")
    state.missing = tuple(problems)
    if problems:
        return
    attested = Attestations(**{name: answer == "Yes" for name, answer in answers.items()})
    note = (st.session_state.get(f"note-{state.key}") or "") if not attested.all_true else ""
    checked = bool(st.session_state.get(f"clock-{state.key}"))
    keep = bool(st.session_state.get(f"keep-{state.key}"))
    entry, problem = guard.in_words(lambda: _write(state, typed.text, who, attested, note,
                                                   looked, between, checked, keep))
    if entry is None:
        state.missing = (problem,)
        return
    kept = " A small picture of the chamber was kept." if keep else ""
    state.finish(Recorded(
        number=entry.number, bed=str(entry.bed), demo=state.demo,
        sentence=f"{entry.confirmed_value} {entry.unit} for bed {entry.bed}, confirmed by "
                 f"{entry.initials} at {entry.recorded.local:%H:%M}.{kept}"))


def _write(state: ChamberState, value: str, who: Signature, attested: Attestations, note: str,
           looked: str, between: str, checked: bool, keep: bool) -> Entry:
    try:
        return record.write(state, value, who, attested, note, second_look=looked,
                            between=between, clock_checked=checked, keep_picture=keep)
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

"""The setting check: what a person saw on the panel, confirmed."""

from __future__ import annotations

import streamlit as st

from app.records import ClockDoubtError, Entry, Moment, OwnReading, SettingDraft, confirm
from app.records.errors import ConfirmError
from app.ui import blocks, guard, ledger
from app.ui.confirm import Signature, confirm_block
from app.ui.threshold.fields import take_bed
from app.ui.threshold.last import OnRecord, on_record
from app.ui.threshold.outcome import unit_questions
from app.ui.threshold.panel_photo import PanelPhoto
from app.ui.threshold.state import Inputs, ThresholdState
from app.ui.unit_box import UnitBox, unit_question_box
from vision.hydrostatics.units import WORDS, exact_text


def setting_check(state: ThresholdState, inputs: Inputs, panel: PanelPhoto,
                  question: UnitBox) -> None:
    """Draw the step; the record is written in the button's own callback."""
    blocks.step("Confirm the setting check")
    if not inputs.setting_complete or inputs.setting_unit is None:
        blocks.say("Type what the panel is set to, and its unit, to put a setting check on record.")
        return
    blocks.say(f"You confirm that you looked at the panel and that it is set to "
               f"{inputs.setting_text} {WORDS[inputs.setting_unit]}. The threshold above is a "
               "calculation and does not go on record as a measurement.")
    if state.clock_doubt:
        st.checkbox("I have checked date and time of this machine: they are right",
                    key=f"th-clock-{state.generation}")
    turn = state.generation

    def pressed(who: Signature) -> None:
        if state.generation == turn:  # a second tap meets another turn and does nothing
            _record(state, inputs, panel, who, question)

    # The key names what is confirmed: another number is another form.
    confirm_block(f"set-{turn}-{inputs.setting_text}-{inputs.setting_unit}", pressed,
                  problems=state.missing, fixed_bed=inputs.bed)


def _record(state: ThresholdState, inputs: Inputs, panel: PanelPhoto, who: Signature,
            question: UnitBox) -> None:
    missing = (*who.problems, *filter(None, [
        question.missing or _asked_of_late_bed(state, inputs, who)]))
    if missing:
        state.missing = missing
        return
    entry, problem = guard.in_words(lambda: _write(state, inputs, panel, who))
    if entry is None:
        state.missing = (problem,)
        return
    panel.drop()
    value = "" if entry.confirmed_value is None else exact_text(entry.confirmed_value)
    unit = WORDS.get(entry.unit or "", "")
    state.finish(f"Setting check of bed {entry.bed}: {value} {unit}, confirmed "
                 f"by {entry.initials} at {entry.recorded.local:%H:%M}.")


def _asked_of_late_bed(state: ThresholdState, inputs: Inputs, who: Signature) -> str:
    """A bed typed only here has its order looked up now: what it asks is drawn next."""
    if inputs.bed or who.bed is None:
        return ""
    bed = str(who.bed)
    known, problem = guard.in_words(lambda: on_record(bed))
    if known is None:
        return problem
    asked = unit_questions(inputs, known)
    if not set(asked) - set(unit_questions(inputs, OnRecord())):
        return ""
    take_bed(state, bed)
    return unit_question_box(f"th-{state.generation}", asked).missing


def draft(inputs: Inputs, panel: PanelPhoto) -> SettingDraft:
    """What is put to the person: with the photo's reading when there is one in that unit."""
    unit, reading = inputs.setting_unit or "", panel.reading
    if reading is None or panel.photo is None or reading.unit != unit:
        return SettingDraft(unit=unit)
    return SettingDraft(unit=unit, machine=reading.as_json(), first=OwnReading.read(panel.first),
                        scale=reading.scale, photo_sha256=panel.photo.sha256)


def _write(state: ThresholdState, inputs: Inputs, panel: PanelPhoto, who: Signature) -> Entry:
    if who.by is None or who.bed is None or inputs.setting_unit is None:
        raise ConfirmError("Bed code, initials and the setting are needed.")
    try:
        return ledger.open_store().add(confirm(
            draft(inputs, panel), by=who.by, bed=who.bed,
            confirmed_value=inputs.setting_text, key=f"page-{state.form_key}",
            happened_at=Moment.now(), identity=who.identity,
            clock_checked=bool(st.session_state.get(f"th-clock-{state.generation}"))))
    except ClockDoubtError:
        state.clock_doubt = True
        raise

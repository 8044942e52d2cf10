"""The level check: what a person confirms, from the photo or by the usual method."""

from __future__ import annotations

import streamlit as st

from app.exports.entry_words import level_text
from app.records import ClockDoubtError, Entry, LevelDraft, Moment, confirm
from app.records.errors import ConfirmError
from app.records.shift import hangs_words
from app.ui import blocks, guard, ledger
from app.ui.confirm import Signature, confirm_block
from app.ui.level.record import draft_of
from app.ui.level.state import LevelState
from vision.level.result import LevelReading


def claimed(reading: LevelReading | None) -> tuple[str | None, str]:
    """What the photo allows a person to confirm: the offset's digits, and in words how the
    system hangs.  None where it does not settle it, with the sentence that says so."""
    if reading is None or reading.offset_cm is None:
        return None, ""
    if reading.decision == "cannot tell":
        return None, (f"{_photos(reading)} not settle whether it is level, so nothing of "
                      f"{'them' if reading.photos else 'it'} goes on record.")
    offset = f"{reading.offset_cm:.1f}"
    side = "too high" if reading.offset_cm > 0 else "too low"
    hangs = f"hangs {abs(float(offset)):g} cm {side}"
    level = f", within your ward's tolerance of {reading.tolerance_cm or 0:g} cm"
    return offset, hangs + (level if reading.decision == "level" else "")


def _photos(reading: LevelReading) -> str:
    return "The photos do" if reading.photos else "The photo does"


def confirm_step(state: LevelState) -> None:
    """Draw the step; the record is written in the button's own callback."""
    blocks.step("Confirm the level check")
    offset, claim = claimed(state.reading)
    if offset is not None:
        blocks.say(f"You confirm that the system {claim} now. If you hang it anew, take another "
                   "photo afterwards and confirm that one.")
    else:
        blocks.say(f"{claim} You confirm that you have levelled it by your usual method and found "
                   "it level.".strip())
    if state.clock_doubt:
        st.checkbox("I have checked date and time of this machine: they are right",
                    key=f"level-clock-{state.turn}")
    turn = state.turn

    def pressed(who: Signature) -> None:
        if state.turn == turn:  # a second tap meets another turn and does nothing
            _record(state, offset, who)

    state.bed = confirm_block(
        f"level-{turn}-{offset}", pressed, problems=state.missing, typed_bed=state.bed,
        label="Confirm the level check" if offset else "Level: checked by the usual method")


def _record(state: LevelState, offset: str | None, who: Signature) -> None:
    if who.problems:
        state.missing = who.problems
        return
    entry, problem = guard.in_words(lambda: _write(state, offset, who))
    if entry is None:
        state.missing = (problem,)
        return
    hangs = " Hang it anew, then check it again." if hangs_words(entry) else ""
    state.finish(f"Level check of bed {entry.bed}: {level_text(entry)}, confirmed by "
                 f"{entry.initials} at {entry.recorded.local:%H:%M}.{hangs}")


def _write(state: LevelState, offset: str | None, who: Signature) -> Entry:
    if who.by is None or who.bed is None:
        raise ConfirmError("Bed code and initials are needed.")
    key = f"page-{state.form_key}"
    draft = LevelDraft.usual_method() if offset is None else draft_of(state, who.bed, key)
    try:
        return ledger.open_store().add(confirm(
            draft, by=who.by, bed=who.bed, confirmed_value=offset, key=key,
            happened_at=Moment.now(), identity=who.identity,
            clock_checked=bool(st.session_state.get(f"level-clock-{state.turn}"))))
    except ClockDoubtError:
        state.clock_doubt = True
        raise

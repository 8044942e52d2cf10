"""Entering what was done, seen or told at the bedside: each confirmed on its own."""

from __future__ import annotations

import streamlit as st

from app.exports.entry_words import what
from app.records import Attestations, EventDraft, Moment, OwnReading, ReadingDraft
from app.records.drafts import Draft
from app.records.errors import ConfirmError
from app.records.kinds import TRANSPORT
from app.ui import blocks, doubtful, guard
from app.ui.chamber.statements import STATEMENTS
from app.ui.charting import look_before, part_fields, typed_parts
from app.ui.confirm import Signature, confirm_block
from app.ui.number import decimal_field, parse_decimal
from app.ui.scale_picker import chamber_scales
from app.ui.shift.look import Look
from app.ui.shift.state import ShiftState
from app.ui.shift.write import clock_box, late_field, put_on_record, time_field
from app.ui.text import as_label, visible
from vision.output.model import hm
from vision.scale_file.scale import load_scale

#: Offered beside the events: a drain closed for a reason of its own, a reading from paper.
CLAMPED, READ = "clamped", "read"
#: What can be entered, in the sequence in which it is offered, with its words.
OFFERED = {
    "fluid-seen": "Look of the fluid", "person-told": "Somebody was told",
    "chamber-emptied": "Chamber emptied", "sample-taken": "Sample taken",
    "position-changed": "Position changed", "drain-closed": "Drain closed",
    "drain-opened": "Drain opened", CLAMPED: "Clamped for transport",
    "little-output": "Little or no output", "dressing-seen": "Dressing and site seen",
    "bag-changed": "Bag changed", READ: "Chamber reading from paper",
    "drainage-ended": "Drainage ended",
}

#: What is worth a thought with each event; common practice, no source.
_REMINDERS = {
    "chamber-emptied": "Read the chamber before emptying it and once more afterwards: without "
                       "both values the output in between stays unknown.",
    "drain-opened": "Look at the level before you open.",
    "position-changed": "The last level check no longer counts: check the level again.",
    CLAMPED: "A clock runs until the drain is entered as opened.",
    "drainage-ended": "The drain is out, or the patient has left: the order ends, and the bed "
                      "leaves the ward's page.",
    READ: "A reading that was written on paper: its true time below, and why it comes late.",
}


def events_block(state: ShiftState, look: Look) -> None:
    """Draw the form; the record is written in the button's own callback."""
    form, bed = state.event, look.bed.bed
    blocks.step("Enter what was done")
    name = st.segmented_control("What was done", tuple(OFFERED), key=f"ev-name-{form.turn}",
                                format_func=lambda n: as_label(OFFERED[n]), wrap=True)
    if name is None:
        blocks.say("Choose what was done. Readings, level and setting are confirmed on their own "
                   "pages.")
        return
    if name in _REMINDERS:
        blocks.say(_REMINDERS[name])
    key = _key(form.turn, name)
    if name == READ:
        _reading_fields(look, key)
    elif name != "drain-closed":  # for transport has a button of its own
        part_fields(name, key)
    if name == "fluid-seen":
        look_before(look.bed.standings, Moment.of(look.now),
                    st.session_state.get(f"{key}-look") or "")
    time_field(f"ev-when-{form.turn}")
    if st.session_state.get(f"ev-when-{form.turn}"):
        late_field(f"ev-late-{form.turn}")
    st.text_input("Detail, if any (no names)", key=f"ev-detail-{form.turn}", max_chars=200,
                  autocomplete="off")
    doubtful.answer_field(form.key)
    clock_box(form, f"ev-clock-{form.turn}")
    turn = form.turn

    def pressed(who: Signature) -> None:
        if form.turn == turn and state.bed == bed:
            _record(state, name, who)

    confirm_block(f"ev-{form.key}", pressed, problems=form.missing, fixed_bed=bed,
                  label=f"Confirm: {OFFERED[name].lower()}")


def _key(turn: int, name: str) -> str:
    return f"ev-{name}-{turn}"


def _reading_fields(look: Look, key: str) -> None:
    """Value, scale (the last one of this bed) and the four statements."""
    names = chamber_scales()
    used = [r.scale for r in look.bed.account.readings if r.scale in names]
    decimal_field("What was read, mL", f"{key}-value", unit="mL", lowest=0)
    st.selectbox("Scale of this chamber", names, key=f"{key}-scale", format_func=visible,
                 index=names.index(used[-1]) if used else None, placeholder="Choose the scale")
    for name, text in STATEMENTS.items():
        st.segmented_control(as_label(text), ("Yes", "No"), key=f"{key}-{name}", width="stretch")


def _record(state: ShiftState, name: str, who: Signature) -> None:
    form, asked = state.event, st.session_state
    made, problem = guard.in_words(lambda: _draft(name, _key(form.turn, name),
                                                  asked.get(f"ev-detail-{form.turn}") or ""))
    if made is None:
        form.missing = (problem,)
        return
    draft, value, said = made
    entry = put_on_record(form, draft, who, when=asked.get(f"ev-when-{form.turn}") or "",
                          value=value, clock_key=f"ev-clock-{form.turn}", attestations=said,
                          note=asked.get(f"ev-detail-{form.turn}") or "" if name == READ else "",
                          late=asked.get(f"ev-late-{form.turn}") or "")
    if entry is not None:
        state.finish(form, f"Bed {entry.bed}: {what(entry)} at "
                           f"{hm(entry.happened.local, entry.recorded.local)}, "
                           f"confirmed by {entry.by}.")


def _draft(name: str, key: str, detail: str) -> tuple[Draft, str | None, Attestations | None]:
    """What is to be confirmed; ConfirmError says what is missing."""
    if name == READ:
        return _reading(key)
    parts, problems = typed_parts(name, key)
    if problems:
        raise ConfirmError(" ".join(problems))
    if name == CLAMPED:
        name, parts = "drain-closed", {"closed_for": TRANSPORT}
    return EventDraft(name, detail=detail, **parts), None, None  # type: ignore[arg-type]


def _reading(key: str) -> tuple[Draft, str | None, Attestations | None]:
    asked = st.session_state
    typed = parse_decimal(asked.get(f"{key}-value") or "", "mL")
    answers = {name: asked.get(f"{key}-{name}") for name in STATEMENTS}
    if typed.value is None:
        raise ConfirmError(typed.problem or "Type what was read.")
    if not asked.get(f"{key}-scale"):
        raise ConfirmError("Choose the scale that is printed on the chamber.")
    if None in answers.values():
        raise ConfirmError("Answer all four statements with Yes or No.")
    draft = ReadingDraft.by_eye(scale=load_scale(asked[f"{key}-scale"]),
                                first=OwnReading.read(typed.text))
    return draft, typed.text, Attestations(**{k: a == "Yes" for k, a in answers.items()})


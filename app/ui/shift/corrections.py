"""Correcting and taking back: always a new entry that names the old one and says why."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import streamlit as st

from app.exports.entry_words import remarks, what, when
from app.records import CorrectionDraft, Entry, Standing, WithdrawalDraft
from app.ui import blocks
from app.ui.charting import part_fields, typed_parts
from app.ui.confirm import Signature, confirm_block
from app.ui.number import decimal_field, parse_decimal
from app.ui.shift.look import Look
from app.ui.shift.state import ShiftState
from app.ui.shift.together import still_standing
from app.ui.shift.write import clock_box, put_on_record, time_field
from app.ui.text import as_label, visible
from vision.output.model import hm

CORRECT, TAKE_BACK = "Correct it", "Take it back"


def corrections_block(state: ShiftState, look: Look) -> None:
    """Draw the form inside a fold; nothing that is on record is ever changed."""
    form = state.correction
    with st.expander("Correct an entry", expanded=bool(form.missing)):
        blocks.say("The old entry stays and can be read. A correction is a new entry with the "
                   "reason; a wrong bed is taken back here and entered anew for the right bed.")
        known = {s.entry.number: s for s in reversed(look.all) if not s.withdrawn}
        number = st.selectbox("Which entry", list(known), index=None, key=f"co-{form.turn}",
                              format_func=lambda n: visible(_name(known[n].entry, look.now)),
                              placeholder="Choose an entry")
        if number is None or number not in known:
            if form.missing:  # the entry was superseded by somebody else meanwhile
                blocks.notice("Not recorded", form.missing, stop=True)
            return
        _form(state, known[number])


def _name(e: Entry, now: datetime) -> str:
    """One line of the list, which a narrow screen cuts off at its end: what tells it from the
    others comes first."""
    return f"{e.number}: {what(e)}, {hm(e.happened.local, now)}"


def _whole(s: Standing) -> str:
    e, more = s.entry, remarks(s)
    return (f"Entry {e.number}: {when(e)} {what(e)}, confirmed by {e.initials}"
            f"{'; ' if more else ''}{more}.")


def _form(state: ShiftState, chosen: Standing) -> None:
    form, entry = state.correction, chosen.entry
    key = f"{entry.number}-{form.turn}"
    blocks.say(_whole(chosen))
    ways = (TAKE_BACK,) if entry.subject == "order" else (CORRECT, TAKE_BACK)
    if entry.subject == "order":
        blocks.say("A changed order is a new order, confirmed where orders are confirmed.")
    way = st.segmented_control("What is to be done", ways, key=f"co-way-{key}", width="stretch",
                               format_func=as_label)
    if way is None:
        return
    if way == CORRECT:
        blocks.say("Fill in only what was wrong; what stays empty stays as it is.")
        _fields(entry, key)
    st.text_input("Reason", key=f"co-why-{key}", max_chars=200, autocomplete="off")
    clock_box(form, f"co-clock-{key}")
    turn, bed = form.turn, state.bed

    def pressed(who: Signature) -> None:
        if form.turn == turn and state.bed == bed:
            _record(state, entry, way, key, who)

    confirm_block(f"co-{form.key}", pressed, problems=form.missing, fixed_bed=bed,
                  label=f"Confirm: {'correct' if way == CORRECT else 'take back'} entry "
                        f"{entry.number}")


def _fields(entry: Entry, key: str) -> None:
    if entry.unit is not None and entry.confirmed_value is not None:
        decimal_field(f"Right value (was {entry.confirmed_value} {entry.unit})", f"co-value-{key}",
                      unit=entry.unit)
    part_fields(entry.event or "", f"co-{key}", was=entry.payload)
    time_field(f"co-when-{key}", f"Right time (was {entry.happened.local:%Y-%m-%d %H:%M})")


def _record(state: ShiftState, entry: Entry, way: str, key: str, who: Signature) -> None:
    form, asked = state.correction, st.session_state
    reason = " ".join((asked.get(f"co-why-{key}") or "").split())
    if way == TAKE_BACK:
        _done(state, put_on_record(form, WithdrawalDraft(entry, reason), who, when="", value=None,
                                   note="", clock_key=f"co-clock-{key}"))
        return
    problems: list[str] = []
    value = _typed(asked.get(f"co-value-{key}"), entry.unit or "", "Right value", problems)
    payload: dict[str, Any] = dict(entry.payload)
    parts, wrong = typed_parts(entry.event or "", f"co-{key}")
    payload |= parts
    problems += wrong
    if problems:
        form.missing = tuple(problems)
        return
    draft = CorrectionDraft(entry, reason,
                            payload=payload if payload != dict(entry.payload) else None)
    _done(state, put_on_record(form, draft, who, when=asked.get(f"co-when-{key}") or "",
                               value=value, note="", clock_key=f"co-clock-{key}"))


def _typed(text: str | None, unit: str, name: str, problems: list[str]) -> str | None:
    typed = parse_decimal(text or "", unit)
    if typed.problem:
        problems.append(f"{name}: {typed.problem}")
    return typed.text or None


def _done(state: ShiftState, entry: Entry | None) -> None:
    if entry is None:
        return
    said = (f"entry {entry.refers_to} is taken back" if entry.kind == "withdrawal" else
            f"entry {entry.refers_to} is corrected: {what(entry)}, {when(entry)}")
    more = still_standing(entry) if entry.kind == "withdrawal" else ""
    state.finish(state.correction,
                 f"Bed {entry.bed}: {said}, confirmed by {entry.initials} as entry "
                 f"{entry.number}. {more}".rstrip())

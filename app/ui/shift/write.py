"""From a form of this page to the record: one function that writes."""

from __future__ import annotations

from datetime import datetime, timedelta

import streamlit as st

from app.records import (
    Attestations,
    ClockDoubtError,
    ConfirmError,
    CorrectionDraft,
    Draft,
    Entry,
    WithdrawalDraft,
)
from app.records.content import LATE_MINUTES
from app.ui import doubtful, guard
from app.ui.confirm import Signature
from app.ui.shift.moments import typed_moment
from app.ui.shift.state import Form
from app.ui.text import as_label


def time_field(key: str, label: str = "When, if not now (for example 14:05)") -> None:
    """A field for the time of a thing that was done earlier."""
    st.text_input(as_label(label), key=key, max_chars=24, autocomplete="off")


def late_field(key: str) -> None:
    """A field for the reason why a thing is entered late."""
    st.text_input("If entered late: why", key=key, max_chars=200, autocomplete="off")


def clock_box(form: Form, key: str) -> None:
    """After a doubt about this machine's clock, the person's answer to it."""
    if form.clock_doubt:
        st.checkbox("I have checked date and time of this machine: they are right", key=key,
                    wrap=True)


def put_on_record(form: Form, draft: Draft, who: Signature, *, when: str, value: str | None,
                  note: str, clock_key: str, late: str = "",
                  attestations: Attestations | None = None) -> Entry | None:
    """Confirm and write; None when it was not, and then ``form.missing`` says why.

    ``late`` is why it comes late, needed for what is new and was done earlier.
    """

    def write() -> Entry:
        if who.by is None or who.bed is None:
            raise ConfirmError("Bed code and initials are needed.")
        happened, now = typed_moment(when, now_here()), now_here()
        new = not isinstance(draft, CorrectionDraft | WithdrawalDraft)
        if new and happened is not None and not late.strip() and \
                now - happened.utc >= timedelta(minutes=LATE_MINUTES):
            raise ConfirmError("Say why it is entered late: the true time and the reason both go "
                               "on record.")
        try:
            return doubtful.put(
                form.key, f"{getattr(draft, 'before_ml', '')}{value or ''}", draft,
                by=who.by, bed=who.bed, confirmed_value=value, note=note,
                key=f"shift-{form.key}", happened_at=happened, late_reason=late,
                attestations=attestations,
                identity=who.identity, clock_checked=bool(st.session_state.get(clock_key)))
        except ClockDoubtError:
            form.clock_doubt = True
            raise

    if who.problems:
        form.missing = who.problems
        return None
    entry, problem = guard.in_words(write)
    if entry is None:
        form.missing = (problem,)
    return entry


def now_here() -> datetime:
    """The wall clock of this machine."""
    return datetime.now().astimezone()

"""The question about a value that does not fit the record, and the field for its answer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from app.entering import DoubtfulError, Proposed, put_all_on_record
from app.records import Draft, Entry, KeptPicture
from app.ui import blocks, ledger


def answer_field(key: str) -> None:
    """Draw what the last press at this form asked, and the field; nothing without a question."""
    value, asked = st.session_state.get(_asked(key), ("", ()))
    if asked:
        blocks.notice("This does not fit what is on record", asked, stop=True)
        st.text_input("Why it is so (goes on record with it)", key=_why(key, value),
                      max_chars=200, autocomplete="off", placeholder="or change what you typed")


def put(form: str, value: str, draft: Draft, /, *, picture: KeptPicture | None = None,
        **more: Any) -> Entry:
    """Put one draft on record; as :func:`put_all`."""
    return put_all(form, value, [Proposed(draft, {}, picture)], **more)[0]


def put_all(form: str, value: str, proposed: Sequence[Proposed], /, **more: Any
            ) -> tuple[Entry, ...]:
    """Put what is proposed on record, all or none, with the answer given for this very value,
    if one was.

    An answer given for another value does not count.  Raises DoubtfulError where there is a
    question without an answer; :func:`answer_field` then shows it in the next run.
    """
    said = st.session_state.get(_why(form, value)) or ""
    try:
        return put_all_on_record(ledger.open_store(), proposed, answer=said, **more)
    except DoubtfulError as doubt:
        st.session_state[_asked(form)] = value, tuple(q.sentence for q in doubt.questions)
        raise


def _asked(key: str) -> str:
    return f"{key}-asked"


def _why(key: str, value: str) -> str:
    return f"{key}-why-{value}"

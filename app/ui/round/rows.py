"""What every row of the hour's page has: open where it is due, else a line; a reason to leave
it out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import streamlit as st

from app.entering import Proposed
from app.records import SkipDraft
from app.records.errors import ConfirmError
from app.rounds import LEFT_OUT
from app.ui import blocks
from app.ui.round.due import Due
from app.ui.round.state import RoundState
from app.ui.text import as_label

NOT_NOW = "Not now"


@contextmanager
def row(due: Due, name: str, key: str) -> Iterator[None]:
    """The place of a check: open where it is due, else a line that can be opened."""
    if due.due:
        with st.container(key=f"{name}-due-{key}", gap="xsmall"):
            blocks.say(due.line)
            yield
    else:
        with st.expander(as_label(due.line), key=f"{name}-valid-{key}"):
            yield


def choose(state: RoundState, name: str, label: str, options: Sequence[str]) -> str | None:
    """One of a few answers, none of them chosen beforehand."""
    found = st.segmented_control(as_label(label), options, key=f"{name}-{state.key}",
                                 width="stretch", format_func=as_label)
    return None if found is None else str(found)


def chosen(state: RoundState, name: str) -> str | None:
    """The answer as it stands, for callbacks as well."""
    return st.session_state.get(f"{name}-{state.key}")


def why_field(state: RoundState, name: str) -> None:
    """Why something is left out."""
    st.text_input(as_label(f"Why no {LEFT_OUT[name]} (goes on record as skipped)"),
                  key=f"why-{name}-{state.key}", max_chars=200, autocomplete="off")


def left_out(state: RoundState, name: str) -> Proposed:
    """That something is left out, with the reason.  Raises ConfirmError without one."""
    why = " ".join((st.session_state.get(f"why-{name}-{state.key}") or "").split())
    if not why:
        raise ConfirmError(f"Say why there is no {LEFT_OUT[name]} in this hour.")
    return Proposed(SkipDraft(LEFT_OUT[name], why), {"key": f"{state.form}-{name}"})

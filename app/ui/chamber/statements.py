"""The four things that make a reading valid: all with one press, or each by itself."""

from __future__ import annotations

import streamlit as st

from app.records import Attestations
from app.records.errors import ConfirmError
from app.ui import blocks
from app.ui.text import as_label

STATEMENTS = {
    "outlet_closed": "The outlet was closed while the fluid was collecting",
    "hanging_plumb": "The chamber hangs plumb and still",
    "patient_undisturbed": "The patient was undisturbed (no coughing, turning or suction)",
    "right_chamber_and_scale": "It is the right chamber, and the right scale is chosen",
}
ASKED = "Do these four hold for this reading?"
ALL, NOT_ALL = "All four hold", "Not all"


def statements_field(key: str) -> None:
    """Draw the four lines and the press; one that is denied is asked about."""
    blocks.say(ASKED)
    with st.container(key="four-lines"):
        blocks.listing((("", text) for text in STATEMENTS.values()), ordered=True)
    said = st.segmented_control(ASKED, (ALL, NOT_ALL), key=f"four-{key}", width="stretch",
                                label_visibility="collapsed")
    if said != NOT_ALL:
        return
    for name, text in STATEMENTS.items():
        st.segmented_control(as_label(text), ("Yes", "No"), key=f"{name}-{key}", width="stretch")
    blocks.say("A reading with a No can go on record with a note, but an hourly output must not "
               "rest on it.")
    st.text_input("Note: what was so", key=f"note-{key}", max_chars=200, autocomplete="off")


def attested(key: str) -> tuple[Attestations, str]:
    """What was answered, and the note.  Raises ConfirmError while an answer is missing."""
    said = st.session_state.get(f"four-{key}")
    answers = {name: "Yes" if said == ALL else st.session_state.get(f"{name}-{key}")
               for name in STATEMENTS}
    if said is None or None in answers.values():
        raise ConfirmError("Say of all four statements whether they hold.")
    found = Attestations(**{name: answer == "Yes" for name, answer in answers.items()})
    note = "" if found.all_true else st.session_state.get(f"note-{key}") or ""
    return found, note

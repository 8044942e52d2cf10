"""Everything that is on record for the time shown, newest first."""

from __future__ import annotations

import streamlit as st

from app.exports.entry_words import remarks, what, when
from app.records import Standing
from app.ui import blocks
from app.ui.shift.look import Look
from app.ui.text import as_label

_SHOWN = 12


def timeline_block(look: Look) -> None:
    """Draw the list; older entries are folded away."""
    blocks.step("On record, newest first")
    lines = [_line(s) for s in sorted(
        look.all, key=lambda s: (s.entry.happened.utc, s.original.number), reverse=True)]
    if not lines:
        blocks.say("Nothing in the time shown.")
        return
    blocks.listing(lines[:_SHOWN])
    if len(lines) > _SHOWN:
        with st.expander(as_label(f"{len(lines) - _SHOWN} earlier entries")):
            blocks.listing(lines[_SHOWN:])


def _line(s: Standing) -> tuple[str, str]:
    e = s.entry
    said = [f"entry {e.number}", f"confirmed by {e.initials}"]
    if s.withdrawn:
        taken = s.history[-1]
        said.append(f"taken back by {taken.initials}: {taken.reason}")
    elif s.corrected:
        said.append(f"reason: {e.reason}")
    more = remarks(s)
    if more:
        said.append(more)
    head = f"{when(e)} {what(e)}"
    return (f"TAKEN BACK: {head}" if s.withdrawn else head), "; ".join(said)

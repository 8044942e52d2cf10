"""One line a bed, the whole of it a link to the bed's round."""

from __future__ import annotations

import streamlit as st

from app.records.codes import bed_words
from app.ui import blocks, ways
from app.ward import BedLine

#: The heads of the parts of a line.
_HEADS = ("Next reading", "Last hour", "Shift", "Level", "In the chamber")


def bed_line(line: BedLine, number: int) -> None:
    """Draw one line; ``number`` is its place, the most urgent first."""
    with st.container(key=f"way-bed-{number}", gap=None):
        ways.link("round", f"Bed {bed_words(line.bed)}", bed=line.bed)
        if line.problem:
            blocks.notice("This bed cannot be read", [line.problem], stop=True)
            return
        parts = zip(_HEADS, (line.due_words, line.hour_words, line.shift_words,
                             line.level_words, line.chamber_words), strict=True)
        blocks.bed_line(line.reasons, [(head, *words) for head, words in parts],
                        [line.joint_words, line.round_words if line.round else None],
                        line.share)

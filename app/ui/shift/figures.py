"""The plots, and every number of them as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from app.exports.account_text import amount, doubts, rate
from app.exports.output_plot import LETTERS, output_plot
from app.records import WORDS
from app.ui import blocks
from app.ui.drawing import show_drawing
from app.ui.shift.look import Look
from app.ui.shift.plots import (
    cumulative_plot,
    level_plot,
    threshold_plot,
)
from vision.output import cumulative
from vision.output.model import hm


def figures_block(look: Look) -> None:
    """Draw the plots, two beside each other where there is room."""
    blocks.step("Plots")
    made = [(f(look.bed, look.start, look.now), note) for f, note in (
        (output_plot, _events_note(look)), (cumulative_plot, "Intervals with a ? add nothing."),
        (level_plot, "A ring at the lower edge: checked by the usual method."),
        (threshold_plot, "Line: ordered. Ring: panel set to. Diamond: effective, from setting and "
                         "level check; a calculation, not a measured pressure."))]
    drawn = [(d, note) for d, note in made if d is not None]
    columns: Sequence[Any] = ()
    if not drawn:
        blocks.say("Nothing to draw yet: an output needs two confirmed readings.")
        return
    for k, (drawing, note) in enumerate(drawn):
        # A pair a row: on a narrow screen the plots then keep their order.
        columns = st.columns(2, gap="medium") if k % 2 == 0 else columns
        with columns[k % 2]:
            show_drawing(drawing)
            if note:
                blocks.say(note)
    blocks.say("Whiskers are 95 % intervals.")


def _events_note(look: Look) -> str:
    seen = [e.name for e in look.bed.account.events if e.at >= look.start and not e.seen]
    named = [f"{letter} {WORDS[name]}" for name, letter in LETTERS.items() if name in seen]
    return f"{', '.join(named)}." if named else ""


def table_block(look: Look) -> None:
    """Every interval in numbers."""
    account = look.bed.account
    if not account.intervals:
        return
    with st.expander("Outputs in numbers"):
        rows = []
        for i, (_, total, _) in zip(account.intervals, cumulative(account), strict=True):
            meanwhile = ", ".join([*(e.said or WORDS[e.act] for e in i.events), *doubts(i)])
            rows.append([f"{hm(i.start, look.now)} to {hm(i.end, look.now)}"
                         + (f" ({meanwhile})" if meanwhile else ""), amount(i), rate(i),
                         f"{total}"])
        blocks.table(("Interval", "mL (95 %)", "mL/h", "Sum mL"), reversed(rows), numbers=(2, 3))
        if any(not i.counted for i in account.intervals):
            blocks.say("Intervals marked ? or unknown are not in the sums.")

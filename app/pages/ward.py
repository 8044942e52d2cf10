"""The page "Ward": every bed with an open order in one line, the most urgent first."""

from __future__ import annotations

import streamlit as st

from app.demo_bed import DEMO_BED
from app.shift_times import shift_plan
from app.ui import blocks, guard, ledger, ways
from app.ui.round.view import book
from app.ui.shift.write import now_here
from app.ui.ward.lines import bed_line
from app.ui.ward.watch import NO_ALARM, watch
from app.ward import ward_lines

TITLE = "Ward"
ORDER = 5
#: The page looks again by itself so often (our choice).
_EVERY_S = 30


def page() -> None:
    """Draw the page."""
    blocks.title("Ward")
    _beds()
    if st.button("Begin a bed", key="ward-begin", width="stretch"):
        ways.go("orders")
    if not ledger.in_demo():
        with st.expander("Let this browser tell when a reading is due"):
            blocks.watch(NO_ALARM)
    blocks.caution_box("From confirmed entries only. A calculation, not advice, and no alarm "
                       "system: look at the drain itself.")


@st.fragment(run_every=_EVERY_S)
def _beds() -> None:
    """The beds as they are now."""
    lines, problem = guard.in_words(lambda: ward_lines(
        ledger.open_store(), book(), now_here(), shift_plan(ledger.place()),
        leave_out=() if ledger.in_demo() else (DEMO_BED,)))
    if lines is None:
        blocks.notice("The record cannot be read", [problem], stop=True)
        return
    due = sum(line.is_due for line in lines)
    watch(due)
    if not lines:
        _first_visit()
        return
    blocks.status_line(_summary(len(lines), due))
    for number, line in enumerate(lines):
        bed_line(line, number)


def _summary(beds: int, due: int) -> str:
    what = "no reading is due" if not due else \
        "one reading is due" if due == 1 else f"{due} readings are due"
    return f"{'One bed' if beds == 1 else f'{beds} beds'}: {what}. The most urgent first; " \
        f"looked at {now_here():%H:%M}."


def _first_visit() -> None:
    """Nobody has begun a bed yet: try it, or begin."""
    blocks.notice("No bed has an open order", [
        "To look around: the demo bed is made up, with a filled shift. It has a record of its "
        "own and can be thrown away.",
        "To begin: type the written order of a bed, then its first round."])
    if st.button("Try it with the demo bed", key="ward-demo", type="primary", width="stretch"):
        ledger.begin_demo()
        st.rerun()

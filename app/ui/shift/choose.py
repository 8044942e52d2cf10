"""Which bed, how far back, and when the ward's shifts start."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import streamlit as st

from app.records.codes import normal_bed
from app.ui import blocks
from app.ui.bed import bed_help
from app.ui.shift.look import plan_of
from app.ui.shift.state import FIRST_PERIOD, FIRST_STARTS, PERIODS, ShiftState
from vision.output import ShiftPlan


@dataclass(frozen=True)
class Choice:
    """What is to be shown; ``plan`` None while the shift times make no sense."""

    bed: str
    period: str
    plan: ShiftPlan | None


def choose(state: ShiftState) -> Choice:
    """Draw the fields; a field that was not on the last page drawn gets its text back."""
    first = _first_values(state)
    typed = st.text_input("Bed code of your ward (no names)", first["sh-bed"], key="sh-bed",
                          max_chars=24, autocomplete="off", placeholder="for example QUAY-3")
    bed_help("sh", typed or "", partial(_take, state))
    period = st.segmented_control("Show the last", tuple(PERIODS), key="sh-period",
                                  default=first["sh-period"], width="stretch", required=True)
    with st.expander("Times of the shifts"):
        starts = st.text_input("Shifts start at", first["sh-starts"], key="sh-starts",
                               max_chars=60, autocomplete="off",
                               help="Times of the day with commas between.")
    state.kept.update({"sh-bed": typed, "sh-period": period, "sh-starts": starts})
    plan, problem = plan_of(starts or "")
    if problem:
        blocks.notice("The times of the shifts cannot be used", [problem], stop=True)
    bed = normal_bed(typed or "")
    state.show_bed(bed)
    return Choice(bed, period or FIRST_PERIOD, plan)


def _first_values(state: ShiftState) -> dict[str, str]:
    """What the fields begin with: on a visit after another page, what they held before.

    Given to the fields as their own beginning and kept the same while they are drawn:
    a value set from outside is lost when a quick hand interrupts the first run.
    """
    for key, first in (("sh-bed", ""), ("sh-period", FIRST_PERIOD), ("sh-starts", FIRST_STARTS)):
        if key not in st.session_state or key not in state.first:
            state.first[key] = state.kept.get(key) or first
    return state.first


def _take(state: ShiftState, code: str) -> None:
    st.session_state["sh-bed"] = code
    state.first["sh-bed"] = ""  # two beginnings at once would be one too many

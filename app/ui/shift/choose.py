"""Which bed, how far back, and when the ward's shifts start."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import streamlit as st

from app.records.codes import normal_bed
from app.shift_times import keep_shift_starts, shift_plan
from app.ui import blocks, guard, ledger, theme
from app.ui.bed import bed_help, bed_of_address
from app.ui.shift.state import FIRST_PERIOD, PERIODS, ShiftState
from app.ui.text import as_label
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
    state.kept.update({"sh-bed": typed, "sh-period": period})
    plan, problem = guard.in_words(lambda: shift_plan(ledger.place()))
    if problem:
        blocks.notice("The times of the shifts cannot be used", [problem], stop=True)
    _times(state, plan)
    bed = normal_bed(typed or "")
    state.show_bed(bed)
    return Choice(bed, period or FIRST_PERIOD, plan)


def _times(state: ShiftState, plan: ShiftPlan | None) -> None:
    """When the shifts start, and the field in which the ward sets it, for all its pages."""
    with st.expander(as_label(f"Shifts start at {plan.words}" if plan else
                              "Set when the shifts start"), key="sh-times"):
        with theme.enter_presses("starts"):
            st.text_input("Shifts of this ward start at", key="sh-starts", max_chars=60,
                          autocomplete="off", placeholder="for example 07:00, 15:00, 23:00")
            if state.starts_problem:
                blocks.alert(state.starts_problem)
            st.button("Set for the whole ward", key="sh-starts-keep", type="primary",
                      width="stretch", on_click=_keep_times, args=(state,))
        blocks.say("All pages, the hand-over sheet and the limit of a shift then go by it.")


def _keep_times(state: ShiftState) -> None:
    typed = st.session_state.get("sh-starts") or ""
    _, state.starts_problem = guard.in_words(lambda: keep_shift_starts(ledger.place(), typed))
    if not state.starts_problem:
        st.session_state["sh-starts"] = ""
        state.drop_papers()


def _first_values(state: ShiftState) -> dict[str, str]:
    """What the fields begin with: the bed of the address, if it names one; on a visit after another
    page what they held before.

    Given to the fields as their own beginning and kept the same while they are drawn:
    a value set from outside is lost when a quick hand interrupts the first run.
    """
    for key, asked, first in (("sh-bed", bed_of_address(), ""), ("sh-period", "", FIRST_PERIOD)):
        if key not in st.session_state or key not in state.first:
            state.first[key] = asked or state.kept.get(key) or first
    return state.first


def _take(state: ShiftState, code: str) -> None:
    st.session_state["sh-bed"] = code
    state.first["sh-bed"] = ""  # two beginnings at once would be one too many

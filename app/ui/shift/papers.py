"""Hand-over sheet, files, and whether the record is whole."""

from __future__ import annotations

import streamlit as st

from app.exports.fhir import write_bundle
from app.exports.handover import handover_pdf
from app.exports.table import write_csv
from app.records import Verification
from app.ui import blocks, guard, ledger, session_files
from app.ui.shift.look import look
from app.ui.shift.state import FIRST_PERIOD, Papers, ShiftState
from app.ui.shift.state import since as since_of
from app.ui.shift.write import now_here
from app.ui.text import as_label
from vision.output import ShiftPlan


def papers_block(state: ShiftState, bed: str, period: str, plan: ShiftPlan) -> None:
    """Draw the step: prepared on a press, since the whole chain is checked each time."""
    blocks.step("Hand-over and files")
    blocks.say("The sheet covers the time shown, the files all of this bed; confirmed entries "
               "only, no photo in any of them.")
    st.button("Check the record and prepare sheet and files", key="sh-prepare", width="stretch",
              on_click=_prepare, args=(state, bed, plan))
    if state.papers_problem:
        blocks.notice("Not prepared", [state.papers_problem], stop=True)
    made = state.papers
    if made is None or (made.bed, made.period) != (bed, period):
        return  # they are of another bed or time than the page shows
    blocks.notice("The record is whole" if made.whole else "The record is NOT whole",
                  [made.sentence, made.note_elsewhere, f"Checked at {made.made_at:%H:%M}."],
                  stop=not made.whole)
    if made.problems:
        blocks.notice("Not prepared", made.problems, stop=True)
    name = f"handover-{made.made_at:%Y%m%d-%H%M}"  # no bed code in a file's name
    for label, data, suffix, mime in (
            ("Hand-over sheet (PDF, to print)", made.pdf, "pdf", "application/pdf"),
            ("All entries (CSV)", made.csv, "csv", "text/csv"),
            ("Observations (FHIR R4, JSON)", made.fhir, "json", "application/fhir+json")):
        if data is None:
            continue
        st.download_button(as_label(label), data, f"{name}.{suffix}", mime,
                           key=f"sh-file-{suffix}", on_click="ignore", width="stretch")
    st.button("Done, forget these files", key="sh-forget", on_click=_forget, args=(state,),
              width="stretch")


def _forget(state: ShiftState) -> None:
    state.drop_papers()
    session_files.forget_downloads()


def _prepare(state: ShiftState, bed: str, plan: ShiftPlan) -> None:
    _forget(state)
    period = st.session_state.get("sh-period") or FIRST_PERIOD  # as chosen by now
    checked, problem = guard.in_words(lambda: ledger.open_store().verify())
    if checked is not None:
        state.papers, problem = guard.in_words(lambda: _made(bed, period, plan, checked))
        if not checked.ok and state.papers is None:
            problem = f"{checked.sentence} {problem}"
    state.papers_problem = problem


def _made(bed: str, period: str, plan: ShiftPlan, checked: Verification) -> Papers:
    now = now_here()
    store = ledger.open_store()
    seen = look(bed, since_of(period, now), now, plan)
    mark = f"To note elsewhere: {checked.entries}:{checked.head[:12]}" \
        if checked.ok and checked.entries else ""
    made: dict[str, bytes | None] = {}
    problems = []
    # Each by itself: what one of them cannot show keeps none of the others back.
    for name, words, make in (
            ("pdf", "The sheet", lambda: handover_pdf(seen.bed, checked, now=now, plan=plan,
                                                      withdrawn=seen.withdrawn,
                                                      joint=seen.joint)),
            ("csv", "The table", lambda: write_csv(store.entries(bed=bed)).encode("utf-8")),
            ("fhir", "The observations", lambda: write_bundle(
                store.current(bed, withdrawn=True)).encode("utf-8"))):
        made[name], problem = guard.in_words(make)
        problems += [f"{words}: {problem}"] if problem else []
    return Papers(
        bed=bed, period=period, made_at=now, sentence=checked.sentence, whole=checked.ok,
        note_elsewhere=mark, problems=tuple(problems), **made)

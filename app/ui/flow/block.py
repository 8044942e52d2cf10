"""Handles to tap, the diagram, and what each position allows."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks
from app.ui.drawing import show_drawing
from app.ui.flow.schematic import schematic
from app.ui.text import as_label
from vision.flow.graph import (
    MAIN_HANDLES,
    PATIENT_HANDLES,
    FlowState,
    MainHandle,
    PatientHandle,
    connection_sentence,
)
from vision.flow.tasks import Verdict, verdicts

_WORDS = {"possible": "possible", "impossible": "not possible", "unsafe": "UNSAFE"}


def flow_block(key: str) -> FlowState | None:
    """Ask for the handles and show what follows; None until each one has been set.

    Nothing is assumed: a handle that nobody looked at has no position.
    """
    patient = _handle("Patient-line stopcock", PATIENT_HANDLES, f"{key}-patient")
    main = _handle("Main stopcock", MAIN_HANDLES, f"{key}-main")
    outlet = _one("Outlet to the bag", ("closed", "open"), f"{key}-outlet")
    vent = _one("Chamber's vent", ("free and dry", "closed, wet or blocked"), f"{key}-vent")
    if patient is None or main is None or outlet is None or vent is None:
        blocks.status_line("Next: say how each handle stands.")
        return None
    state = FlowState(_patient(patient), _main(main), outlet == "open", vent == "free and dry")
    show_drawing(schematic(state))
    blocks.say("Thick line: open to the patient. Thin line: open. Broken line: closed off. "
               "Bar: closed here.")
    blocks.status_line(connection_sentence(state))
    found = verdicts(state)
    for v in found:
        if v.possibility == "unsafe":
            blocks.notice(f"Unsafe here: {v.task}", v.reasons, stop=True)
    blocks.table(("Task", "Here", "Why, and what to know"), [_row(v) for v in found])
    return state


def _row(v: Verdict) -> tuple[str, str, str]:
    return v.task, _WORDS[v.possibility], " ".join((*v.reasons, *v.notes)) or "-"


def _handle(label: str, arms: tuple[str, ...], key: str) -> str | None:
    words = tuple(arm if arm == "open to all" else f"closed toward {arm}" for arm in arms)
    chosen = st.radio(as_label(label), words, index=None, key=key, format_func=as_label)
    return None if chosen is None else chosen.removeprefix("closed toward ")


def _one(label: str, options: tuple[str, ...], key: str) -> str | None:
    return st.segmented_control(as_label(label), options, key=key, width="stretch",
                                format_func=as_label)


def _patient(arm: str) -> PatientHandle:
    return next(h for h in PATIENT_HANDLES if h == arm)


def _main(arm: str) -> MainHandle:
    return next(h for h in MAIN_HANDLES if h == arm)

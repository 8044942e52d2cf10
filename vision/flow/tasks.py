"""What the handles make possible: drain, measure, sample, flush, empty, zero.

Each task is possible, impossible or unsafe at a position of the handles, with the
reasons in words.  Rules of the trade (common practice, no source) unless a
source stands beside them.  They describe; the local order and trained staff decide.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

from vision.flow.graph import FlowState, Place, communicates

Task = Literal["drain", "measure pressure", "sample", "flush toward the chamber", "empty", "zero"]
TASKS: tuple[Task, ...] = get_args(Task)
Possibility = Literal["possible", "impossible", "unsafe"]

BOTH_AT_ONCE = ("The pressure port is open to the chamber: draining and measuring at once "
                "falsifies the pressure.")
# A wetted vent pushed the inlet pressure above 150 mmHg in three of five systems
# (Czosnyka et al., Neurosurgery 2003;52:619).
VENT_BACKS_UP = ("The chamber's vent is closed, wet or blocked: pressure builds up in the "
                 "chamber and the drain stops.")
VENT_SIPHONS = ("The chamber's vent is closed, wet or blocked and the outlet is open: the bag's "
                "height decides how much drains, not the chamber's.")


@dataclass(frozen=True)
class Verdict:
    """Whether a task works at these handles; ``reasons`` why not, ``notes`` what to know."""

    task: Task
    possibility: Possibility
    reasons: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _View:
    """The connections a rule asks about, worked out once."""

    state: FlowState

    def joins(self, a: Place, b: Place) -> bool:
        return communicates(self.state, a, b)


def verdict(task: Task, state: FlowState) -> Verdict:
    """What becomes of ``task`` with the handles at ``state``."""
    unsafe, missing, notes = _RULES[task](_View(state))
    if unsafe:
        return Verdict(task, "unsafe", tuple(unsafe + missing), tuple(notes))
    if missing:
        return Verdict(task, "impossible", tuple(missing), tuple(notes))
    return Verdict(task, "possible", (), tuple(notes))


def verdicts(state: FlowState) -> tuple[Verdict, ...]:
    """All tasks at these handles, in the order of ``TASKS``."""
    return tuple(verdict(task, state) for task in TASKS)


def handles_for(task: Task) -> tuple[FlowState, ...]:
    """The positions at which a task is possible and nothing need be noted.

    Shown when a person looks for a position; the person turns the handles.
    """
    from vision.flow.graph import all_states

    found = [(s, verdict(task, s)) for s in all_states()]
    return tuple(s for s, v in found if v.possibility == "possible" and not v.notes)


_Finding = tuple[list[str], list[str], list[str]]  # unsafe, missing, notes


def _drain(v: _View) -> _Finding:
    unsafe, missing, notes = [], [], []
    joined = v.joins("patient", "chamber")
    if not joined:
        missing.append("The patient's line does not reach the chamber.")
    elif not v.state.vent_open:
        unsafe.append(VENT_SIPHONS if v.state.outlet_open else VENT_BACKS_UP)
    if joined and v.joins("patient", "pressure port"):
        notes.append(BOTH_AT_ONCE)
    if joined and v.state.outlet_open:
        notes.append("The outlet is open: nothing collects in the chamber, so the hourly volume "
                     "cannot be read there.")
    return unsafe, missing, notes + _open_sampling_port(v)


def _measure(v: _View) -> _Finding:
    unsafe, missing = [], []
    if not v.joins("patient", "pressure port"):
        missing.append("The patient's line does not reach the pressure port.")
    elif v.joins("pressure port", "chamber"):
        unsafe.append(BOTH_AT_ONCE)
    return unsafe, missing, _open_sampling_port(v)


def _sample(v: _View) -> _Finding:
    unsafe, missing = [], []
    if not v.joins("patient", "sampling port"):
        missing.append("The sampling port does not reach the patient's line.")
    else:
        if v.joins("sampling port", "chamber"):
            unsafe.append("The chamber is open to the sampling port: old fluid would be drawn "
                          "back from the system.")
        if v.joins("sampling port", "pressure port"):
            unsafe.append("The pressure port is open to the sampling port: the syringe acts on "
                          "the transducer.")
    return unsafe, missing, []


def _flush(v: _View) -> _Finding:
    unsafe, missing, notes = [], [], []
    if v.joins("sampling port", "patient"):
        unsafe.append("The patient is open to the sampling port: fluid pushed in there would "
                      "reach the patient.")
    if not v.joins("sampling port", "chamber"):
        missing.append("The sampling port does not reach the chamber.")
    elif not v.state.vent_open:
        unsafe.append("The chamber's vent is closed, wet or blocked: what is pushed in has no "
                      "way to displace the air.")
    if v.joins("sampling port", "pressure port"):
        notes.append("The pressure port is open too: the syringe's pressure acts on the "
                     "transducer.")
    return unsafe, missing, notes


def _empty(v: _View) -> _Finding:
    unsafe, missing, notes = [], [], []
    to_patient = v.joins("patient", "chamber")
    if not v.state.outlet_open:
        missing.append("The outlet to the bag is closed.")
    if not v.state.vent_open:
        if v.state.outlet_open and to_patient:
            unsafe.append(VENT_SIPHONS)
        else:
            missing.append("The chamber's vent is closed, wet or blocked: no air comes in, so "
                           "nothing runs out.")
    if to_patient:
        notes.append("The patient still drains: what comes in while the chamber is emptied is "
                     "not counted.")
    return unsafe, missing, notes


def _zero(v: _View) -> _Finding:
    unsafe, missing = [], []
    if not v.joins("pressure port", "chamber"):
        missing.append("The pressure port does not reach the chamber.")
    if v.joins("pressure port", "patient"):
        unsafe.append("The patient is open to the pressure port: the patient's pressure would go "
                      "into the zero.")
    if not v.state.vent_open:
        missing.append("The chamber's vent is closed, wet or blocked: the chamber is not at the "
                       "pressure of the air.")
    notes = []
    if v.joins("pressure port", "sampling port"):
        notes.append("The sampling port is open to the line: keep it capped.")
    return unsafe, missing, notes


def _open_sampling_port(v: _View) -> list[str]:
    if v.joins("patient", "sampling port"):
        return ["The sampling port is open to the patient's line: keep it capped."]
    return []


_RULES: dict[Task, Callable[[_View], _Finding]] = {
    "drain": _drain, "measure pressure": _measure, "sample": _sample,
    "flush toward the chamber": _flush, "empty": _empty, "zero": _zero,
}
